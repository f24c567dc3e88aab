//! Chapters taken into a sequence: where they may not stand, all their problems at once, and places in the file where a step
//! stands.

use crate::build::Files;
use pilotage_plan::files::sequence::SequenceFile;
use pilotage_plan::fit::{unknown_file, whole};
use pilotage_plan::lower::read::{read_chapter, read_sequence};
use pilotage_plan::problem::Problem;

const HEAD: &str = "title: T\nitem: wall_unit\n";

/// A step of this id and title that holds for a second.
fn step(id: &str, title: &str) -> String {
    format!("  - step: {title}\n    id: {id}\n    do:\n      - hold: 1 s\n")
}

fn chapter(steps: &str) -> String {
    format!("pilotage: chapter/1\n{HEAD}steps:\n{steps}")
}

/// A sequence with these steps (the first in line 6), and chapters by their names.
fn joined(steps: &str, chapters: &[(&str, String)]) -> Result<SequenceFile, Vec<Problem>> {
    let text = format!("pilotage: sequence/1\n{HEAD}limits: test_limits\nsteps:\n{steps}");
    let written = read_sequence("s.yaml", &text).unwrap();
    whole(written, &mut |name| {
        let Some((_, text)) = chapters.iter().find(|(known, _)| *known == name.value) else {
            return Err(vec![unknown_file(
                "chapter",
                name,
                "there is none",
                "write another name",
            )]);
        };
        read_chapter(&format!("{}.yaml", name.value), text)
    })
}

fn refused(steps: &str, chapters: &[(&str, String)]) -> Refused {
    let found = joined(steps, chapters).unwrap_err();
    for problem in &found {
        assert!(problem.mend.is_some() && problem.got.is_some(), "{problem:?}");
    }
    found
        .iter()
        .map(|problem| (problem.code, problem.span.place()))
        .collect()
}

#[test]
fn a_chapter_stands_once_and_for_one_kind_of_item() {
    let a = || ("a", chapter(&step("WU-01", "one")));
    let of_charger = (
        "c",
        chapter(&step("OB-01", "one")).replace("wall_unit", "onboard_charger"),
    );
    let twice = "  - chapter: a\n  - chapter: a\n";
    assert_eq!(refused(twice, &[a()]), [("F050", "s.yaml:7".to_owned())]);
    assert_eq!(
        refused("  - chapter: c\n", &[of_charger]),
        [("F049", "s.yaml:6".to_owned())]
    );
    assert_eq!(refused("  - chapter: b\n", &[a()]), [("F048", "s.yaml:6".to_owned())]);
    assert!(joined("  - chapter: a\n", &[a()]).is_ok());
}

#[test]
fn id_and_title_together_come_from_one_file() {
    let a = || ("a", chapter(&step("WU-01", "one")));
    let b = ("b", chapter(&step("WU-01", "one")));
    let own = format!("{}  - chapter: a\n", step("WU-01", "one"));
    assert_eq!(refused(&own, &[a()]), [("F050", "a.yaml:5".to_owned())]);
    let both = "  - chapter: a\n  - chapter: b\n";
    assert_eq!(refused(both, &[a(), b]), [("F050", "b.yaml:5".to_owned())]);
    // Parts of one step of the catalogue, and steps of one name.
    let parts = format!("{}  - chapter: a\n{}", step("WU-01", "two"), step("WU-02", "one"));
    assert_eq!(joined(&parts, &[a()]).unwrap().steps.len(), 3);
    // What a sequence could always say in its own file.
    let in_one_file = [step("WU-01", "one"), step("WU-01", "one")].concat();
    assert_eq!(joined(&in_one_file, &[]).unwrap().steps.len(), 2);
}

#[test]
fn the_problems_of_all_chapters_come_at_once_each_with_its_own_file() {
    let wrong = chapter(&step("WU-01", "one").replace("1 s", "1 V"));
    let chapters = [("a", wrong.clone()), ("b", wrong)];
    let steps = "  - chapter: a\n  - chapter: nowhere\n  - chapter: b\n";
    assert_eq!(
        refused(steps, &chapters),
        [
            ("P051", "a.yaml:8".to_owned()),
            ("P051", "b.yaml:8".to_owned()),
            ("F048", "s.yaml:7".to_owned()),
        ]
    );
}

/// Codes with their places.
type Refused = Vec<(&'static str, String)>;

/// Fitted with the files of these tests: where each step and its first act stand.
fn fitted(steps: &str, chapters: &[(&str, String)]) -> Result<Vec<(String, String)>, Refused> {
    let mut files = Files::new(Vec::new());
    files.sequence.steps = joined(steps, chapters).unwrap().steps;
    let place = |problem: &Problem| (problem.code, problem.span.place());
    let program = files
        .fit()
        .map_err(|found| found.iter().map(place).collect::<Refused>())?;
    let steps = program.steps.iter();
    let placed = steps.map(|step| (step.head.place.clone(), step.acts[0].span.place()));
    Ok(placed.collect())
}

#[test]
fn names_go_across_files_and_what_is_wrong_is_where_it_stands() {
    let reads = |title: &str, of: &str| {
        step("WU-04", title).replace(
            "- hold: 1 s",
            &format!("- judge: {{r: {{value: {of} * 2, unit: Ω, at_most: 9 kΩ, status: common practice}}}}"),
        )
    };
    let takes = step("WU-04", "takes").replace("- hold: 1 s", "- read: {r_l: \"path[L].resistance\"}");
    let before = ("a", chapter(&takes));
    let after = ("b", chapter(&reads("judges", "$r_l")));
    let steps = format!("  - chapter: a\n{}  - chapter: b\n", reads("own", "$r_l"));
    assert_eq!(
        fitted(&steps, &[before.clone(), after]).unwrap(),
        [
            ("a.yaml:5", "a.yaml:8"),
            ("s.yaml:7", "s.yaml:10"),
            ("b.yaml:5", "b.yaml:8")
        ]
        .map(|(step, act)| (step.to_owned(), act.to_owned()))
    );
    let unknown = ("b", chapter(&reads("judges", "$r_x")));
    assert_eq!(
        fitted(&steps, &[before, unknown]).unwrap_err(),
        [("F006", "b.yaml:8".to_owned())]
    );
}
