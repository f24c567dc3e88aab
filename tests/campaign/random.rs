//! Random sequences on items with random defects, with persons who forget, refuse, open the door and press the stop.

use crate::bench::{Plot, Story, run, shipped};
use crate::contradictions::{contradictions, lied, overtaken};
use crate::draw::{Draw, on_all_cores};
use crate::sequences::sequence;
use crate::size;
use pilotage::args::SeverityWord;
use pilotage::fitting::{Fitted, all_defects};
use pilotage::shipped::Shelves;
use pilotage::wiring::setup::{Given, setup};
use pilotage_evidence::{DecisionRule, Event, ItemKind};
use pilotage_plan::files::defect::DefectFile;
use pilotage_plan::fit::{FitRequest, fit, unknown_file, whole};
use pilotage_plan::lower::read::read_sequence;
use pilotage_plan::problem::Problem;
use pilotage_plan::program::Program;
use pilotage_virtual::physics::{Action, Setup};
use std::collections::BTreeMap;
use std::time::{Duration, Instant};

/// What one rehearsal brought.
struct Seen {
    contradictions: Vec<String>,
    virtual_s: f64,
    hands: usize,
    dead: usize,
    intents: usize,
    sights: usize,
    lied: bool,
    overtaken: usize,
    exit_code: u8,
}

pub(crate) fn fitted_text(fitted: &Fitted, text: &str) -> Result<Program, Vec<String>> {
    let words = |problems: Vec<Problem>| problems.into_iter().map(|problem| problem.message).collect::<Vec<_>>();
    let written = read_sequence("random.yaml", text).map_err(words)?;
    let sequence = whole(written, &mut |name| {
        Err(vec![unknown_file("chapter", name, "none is drawn", "")])
    })
    .map_err(words)?;
    let request = FitRequest {
        sequence: &sequence,
        item: &fitted.item,
        bench: &fitted.bench,
        drivers: &fitted.drivers,
        limits: &fitted.limits,
        decision_rule: DecisionRule::Simple,
        inputs: &[],
    };
    fit(request).map_err(words)
}

/// The item of rehearsal `number`: healthy, or with any defect in any of its severities, and a person of any sort.
fn item(fitted: &Fitted, defects: &[DefectFile], draw: &mut Draw, seed: u64) -> Setup {
    let defect = &defects[draw.below(defects.len() as u64) as usize];
    let severities: Vec<SeverityWord> = [SeverityWord::Edge, SeverityWord::Plain, SeverityWord::Gross]
        .into_iter()
        .filter(|severity| {
            setup(
                &fitted.item,
                Some(Given {
                    defect,
                    severity: *severity,
                }),
                seed,
            )
            .is_ok()
        })
        .collect();
    let severity = severities[draw.below(severities.len() as u64) as usize];
    let given = (!draw.once_in(8)).then_some(Given { defect, severity });
    let mut item = setup(&fitted.item, given, seed).unwrap();
    for deed in [
        "lock_isolator",
        "unlock_isolator",
        "open_enclosure",
        "close_enclosure",
        "press_stop",
        "release_stop",
    ] {
        if draw.once_in(25) {
            let how = draw.of(&["forgets", "refuses"]).to_owned();
            item.words.insert(format!("person_{deed}"), how);
        }
    }
    if draw.once_in(20) {
        item.words
            .insert("person_yes_no".to_owned(), draw.of(&["no", "perhaps"]).to_owned());
    }
    item
}

/// What somebody does at a random time.
fn plot(draw: &mut Draw, seed: u64) -> Plot {
    let mut plot = Plot {
        seed,
        ..Plot::default()
    };
    let when = |draw: &mut Draw| Duration::from_secs_f64(draw.between(0.0, 90.0));
    if draw.once_in(6) {
        let opened = when(draw);
        plot.deeds.push((opened, Action::Enclosure { closed: false }));
        if draw.once_in(2) {
            let closed = opened + Duration::from_secs_f64(draw.between(0.01, 2.0));
            plot.deeds.push((closed, Action::Enclosure { closed: true }));
        }
    }
    if draw.once_in(8) {
        plot.deeds.push((when(draw), Action::Stop { pressed: true }));
    }
    if draw.once_in(10) {
        plot.stop_after = Some(when(draw));
    }
    plot
}

fn rehearse(fitted: &Fitted, program: &Program, number: u64) -> Story {
    let mut draw = Draw::new("item", number);
    let seed = 1 + number;
    let item = item(fitted, &defects(), &mut draw, seed);
    run(fitted, program, &item, &plot(&mut draw, seed))
}

/// Those that a wall unit can have.
fn defects() -> Vec<DefectFile> {
    let all = all_defects(&Shelves::default())
        .unwrap()
        .into_iter()
        .map(|(_, defect)| defect);
    all.filter(|defect| defect.item.value == ItemKind::WallUnit).collect()
}

fn summary(story: &Story) -> Seen {
    let count = |wanted: fn(&Event) -> bool| story.events().filter(|(_, event)| wanted(event)).count();
    Seen {
        contradictions: contradictions(story),
        virtual_s: story.entries.last().map_or(0.0, |entry| entry.at.seconds()),
        hands: story
            .entries
            .iter()
            .filter(|entry| matches!(entry.what, crate::witness::What::HandsIn { .. }))
            .count(),
        dead: count(|event| matches!(event, Event::Dead(statement) if statement.dead)),
        intents: count(|event| matches!(event, Event::Intent { .. })),
        sights: story
            .entries
            .iter()
            .filter(|entry| {
                matches!(
                    entry.what,
                    crate::witness::What::Sight(_) | crate::witness::What::Sent { .. }
                )
            })
            .count(),
        lied: lied(story),
        overtaken: overtaken(story),
        exit_code: story.outcome.as_ref().map_or(255, |outcome| outcome.exit_code),
    }
}

#[test]
fn no_prompt_and_no_dead_contradicts_the_truth() {
    let began = Instant::now();
    let fitted = shipped("wall_unit/quick_check");
    let wanted = size(200, 2000);
    let tries = on_all_cores(wanted * 5 / 2, |number| fitted_text(&fitted, &sequence(number as u64)));
    let refused: Vec<&Vec<String>> = tries.iter().filter_map(|tried| tried.as_ref().err()).collect();
    let programs: Vec<(usize, &Program)> = tries
        .iter()
        .enumerate()
        .filter_map(|(number, tried)| Some((number, tried.as_ref().ok()?)))
        .take(wanted)
        .collect();
    println!("{} texts, {} refused", tries.len(), refused.len());
    assert!(
        programs.len() == wanted,
        "only {} of {} were accepted",
        programs.len(),
        tries.len()
    );
    assert!(
        refused.len() * 10 <= tries.len() * 7,
        "{} of {} were refused",
        refused.len(),
        tries.len()
    );
    let seen = on_all_cores(wanted, |index| {
        let (number, program) = programs[index];
        summary(&rehearse(&fitted, program, number as u64))
    });
    tell(&seen, began);
    let bad: Vec<String> = seen
        .iter()
        .enumerate()
        .filter(|(_, seen)| !seen.contradictions.is_empty())
        .map(|(index, seen)| format!("sequence {}: {}", programs[index].0, seen.contradictions.join(" | ")))
        .collect();
    assert!(
        bad.is_empty(),
        "{} of {wanted} runs contradict the truth:\n{}",
        bad.len(),
        bad.join("\n")
    );
    // A campaign in which nothing happened has shown nothing.
    let enough = |count: fn(&Seen) -> usize, least: usize| seen.iter().map(count).sum::<usize>() >= least;
    assert!(
        enough(|seen| seen.hands, wanted / 10)
            && enough(|seen| seen.dead, wanted)
            && enough(|seen| seen.intents, wanted)
    );
}

/// `PILOTAGE_CAMPAIGN_ONE=96` tells everything about sequence 96.
#[test]
fn one_sequence_is_told() {
    let Some(number) = std::env::var("PILOTAGE_CAMPAIGN_ONE")
        .ok()
        .and_then(|number| number.parse::<u64>().ok())
    else {
        return;
    };
    let fitted = shipped("wall_unit/quick_check");
    let text = sequence(number);
    println!("{text}");
    let program = fitted_text(&fitted, &text).unwrap();
    let story = rehearse(&fitted, &program, number);
    crate::bench::print(&story);
    println!("{}", contradictions(&story).join("\n"));
}

fn tell(seen: &[Seen], began: Instant) {
    let sum = |count: fn(&Seen) -> usize| seen.iter().map(count).sum::<usize>();
    let mut codes: BTreeMap<u8, u32> = BTreeMap::new();
    for seen in seen {
        *codes.entry(seen.exit_code).or_insert(0) += 1;
    }
    println!(
        "{} rehearsals, {:.0} s of virtual time, {:.1} s: {} prompts for hands, {} times dead, {} intents, {} looks at the truth, {} lied about the lock, {} times dead was overtaken before it was said, exit codes {codes:?}",
        seen.len(),
        seen.iter().map(|seen| seen.virtual_s).sum::<f64>(),
        began.elapsed().as_secs_f64(),
        sum(|seen| seen.hands),
        sum(|seen| seen.dead),
        sum(|seen| seen.intents),
        sum(|seen| seen.sights),
        seen.iter().filter(|seen| seen.lied).count(),
        sum(|seen| seen.overtaken),
    );
}
