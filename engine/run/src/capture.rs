//! A capture: armed, acts done while it runs, fetched, stored beside the journal.

use crate::halt::Halt;
use crate::runner::{LastCapture, Runner};
use crate::wording;
use crate::world::{Bench, BenchError, Captured, Clock, Journal, People};
use pilotage_evidence::Event;
use pilotage_evidence::event::Capture;
use pilotage_plan::program::CaptureSpec;

impl<B: Bench, C: Clock, J: Journal, P: People> Runner<'_, B, C, J, P> {
    /// The acts are done also where nothing could be captured: what follows rests on them.
    pub(crate) async fn capture(&mut self, spec: &CaptureSpec) -> Result<(), Halt> {
        self.captured = Err(format!("the capture {} did not end", spec.name));
        let armed = self.bench.arm(spec).await;
        if let Err(error) = &armed {
            self.capture_failed(spec, error).await?;
        }
        for act in &spec.during {
            self.act(act).await?;
        }
        let Ok(mut exchanges) = armed else { return Ok(()) };
        match self.bench.fetch(spec).await {
            Ok(captured) => {
                exchanges.extend(captured.exchanges.iter().cloned());
                self.keep(spec, Captured { exchanges, ..captured })
            }
            Err(error) => self.capture_failed(spec, &error).await,
        }
    }

    async fn capture_failed(&mut self, spec: &CaptureSpec, error: &BenchError) -> Result<(), Halt> {
        self.captured = Err(format!(
            "the capture {} failed: {}",
            spec.name,
            wording::trouble(&error.trouble)
        ));
        self.put_trouble(error)?;
        self.recover().await
    }

    fn keep(&mut self, spec: &CaptureSpec, captured: Captured) -> Result<(), Halt> {
        self.captures += 1;
        let name = format!("{:03}-{}", self.captures, as_file_name(&spec.name));
        let (file, sha256) = self.log.store(&name, &captured.samples)?;
        let seq = self.log.put(Event::Captured(Capture {
            name: spec.name.clone(),
            step: self.step_index(),
            pass: self.pass.clone(),
            file,
            sha256,
            channels: captured.channels.clone(),
            exchanges: captured.exchanges.clone(),
        }))?;
        self.captured = Ok(LastCapture::new(seq, spec.name.clone(), captured));
        Ok(())
    }
}

/// Letters, digits and hyphens: a name never becomes a path.
fn as_file_name(name: &str) -> String {
    let harmless = |c: char| if c.is_ascii_alphanumeric() { c } else { '-' };
    name.chars().take(60).map(harmless).collect()
}

#[cfg(test)]
mod tests {
    use super::as_file_name;

    #[test]
    fn a_name_never_becomes_a_path() {
        assert_eq!(as_file_name("WU-19"), "WU-19");
        assert_eq!(as_file_name("../etc/x y"), "---etc-x-y");
    }
}
