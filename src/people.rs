//! Persons at a bench: one at the terminal, or the virtual person of a served virtual bench.

use crate::output::Output;
use crate::rehearsal::no_value;
use crate::serving::{Answered, Asked};
use crate::text::harmless;
use crate::wiring::interrupt;
use pilotage_evidence::heading::CautionText;
use pilotage_plan::files::sequence::AnswerText;
use pilotage_run::world::{People, Purpose, Question, Reply};
use std::cell::RefCell;
use std::io::BufRead;
use tokio::io::{AsyncBufReadExt, AsyncWriteExt, BufReader};
use tokio::net::TcpStream;

/// The person at the terminal.
pub struct AtTerminal {
    name: RefCell<Option<String>>,
    output: RefCell<Output>,
}

impl AtTerminal {
    /// Prompts on the standard error, answers from the standard input.
    pub fn new() -> Self {
        Self {
            name: RefCell::new(None),
            output: RefCell::new(Output::standard()),
        }
    }

    /// A line of the standard input; `None` at its end.
    async fn line(&self, prompt: &str) -> Option<String> {
        self.output.borrow_mut().message(prompt);
        let read = tokio::task::spawn_blocking(|| {
            let mut line = String::new();
            let taken = std::io::stdin().lock().read_line(&mut line).ok()?;
            (taken > 0).then(|| line.trim().to_owned())
        });
        read.await.ok().flatten()
    }

    async fn named(&self) -> Option<String> {
        if let Some(name) = self.name.borrow().clone() {
            return Some(name);
        }
        let name = self
            .line("\n  Your name or role, for the record:")
            .await
            .filter(|name| !name.is_empty())?;
        *self.name.borrow_mut() = Some(name.clone());
        Some(name)
    }
}

impl Default for AtTerminal {
    fn default() -> Self {
        Self::new()
    }
}

impl People for AtTerminal {
    async fn ask(&self, question: Question<'_>) -> Option<Reply> {
        let by = self.named().await?;
        let hint = match question.answer {
            AnswerText::YesNo => "yes or no".to_owned(),
            AnswerText::Done => "yes once it is done, or no".to_owned(),
            AnswerText::Word { choices, .. } => choices.join(", "),
            AnswerText::Quantity { unit } => format!(
                "a value in {0}; where you know how exact it is, e.g. 12.5 {0} ± 0.2 {0}",
                unit.value
            ),
        };
        let answer = self
            .line(&format!(
                "\n  ? {}\n    [{}; an empty line refuses]",
                harmless(question.prompt),
                harmless(&hint)
            ))
            .await?;
        (!answer.is_empty()).then_some(Reply { answer, by })
    }

    async fn acknowledge(&self, caution: &CautionText) -> Option<String> {
        let signal = caution.signal.to_string().to_uppercase();
        let prompt = format!(
            "\n  {signal}: {}\n    Type `understood` to go on:",
            harmless(&caution.text)
        );
        let answer = self.line(&prompt).await?;
        if answer.eq_ignore_ascii_case("understood") {
            self.named().await
        } else {
            None
        }
    }

    async fn stop_wanted(&self) {
        interrupt::pressed_in_real_time().await;
    }
}

/// The virtual person of a served virtual bench.
pub struct OverTcp {
    stream: RefCell<Option<BufReader<TcpStream>>>,
}

impl OverTcp {
    /// Connects to the person's port on this machine.
    pub async fn connect(port: u16) -> std::io::Result<Self> {
        let stream = TcpStream::connect(("127.0.0.1", port)).await?;
        stream.set_nodelay(true)?;
        Ok(Self {
            stream: RefCell::new(Some(BufReader::new(stream))),
        })
    }

    async fn exchange(&self, asked: &Asked) -> Option<String> {
        // Taken out while in use, so that no borrow lives across an await; a broken connection stays away: a refusal.
        let mut stream = self.stream.borrow_mut().take()?;
        let mut line = serde_json::to_vec(asked).ok()?;
        line.push(b'\n');
        stream.get_mut().write_all(&line).await.ok()?;
        let mut reply = String::new();
        stream.read_line(&mut reply).await.ok()?;
        *self.stream.borrow_mut() = Some(stream);
        serde_json::from_str::<Answered>(&reply).ok()?.answer
    }
}

impl People for OverTcp {
    async fn ask(&self, question: Question<'_>) -> Option<Reply> {
        let (choices, passes) = match question.answer {
            AnswerText::Word { choices, passes } => (choices.clone(), passes.clone()),
            _ => (Vec::new(), Vec::new()),
        };
        let asked = Asked {
            does: deed(question.purpose).or(question.does).map(str::to_owned),
            prompt: question.prompt.to_owned(),
            choices,
            passes,
            quantity: matches!(question.answer, AnswerText::Quantity { .. }),
        };
        let Some(answer) = self.exchange(&asked).await else {
            if let AnswerText::Quantity { unit } = question.answer {
                // The bench is served with an item file of its own: only its virtual person knows what stands there.
                Output::standard().message(&format!(
                    "  ! the virtual person knows no answer to \"{}\"\n          mend: {}, and serve the bench with that item",
                    harmless(question.prompt),
                    harmless(&no_value(question.prompt, &unit.value))
                ));
            }
            return None;
        };
        Some(Reply {
            answer,
            by: "virtual person".to_owned(),
        })
    }

    async fn acknowledge(&self, _: &CautionText) -> Option<String> {
        Some("virtual person".to_owned())
    }

    async fn stop_wanted(&self) {
        interrupt::pressed_in_real_time().await;
    }
}

/// The word of what the engine itself asks a person to do; a question of the sequence names its own.
pub fn deed(purpose: Purpose) -> Option<&'static str> {
    Some(match purpose {
        Purpose::Sequence => return None,
        Purpose::LockIsolator => "lock_isolator",
        Purpose::UnlockIsolator => "unlock_isolator",
        Purpose::OpenEnclosure => "open_enclosure",
        Purpose::CloseEnclosure => "close_enclosure",
        Purpose::PressStop => "press_stop",
        Purpose::ReleaseStop => "release_stop",
    })
}
