//! Help that a technician understands: every verb says what it does and shows an example; wrong usage is 2.

use crate::support::{Place, snapshot};

const VERBS: [&[&str]; 16] = [
    &["check"],
    &["fit"],
    &["rehearse"],
    &["run"],
    &["bench"],
    &["bench", "serve"],
    &["defects"],
    &["challenge"],
    &["explain"],
    &["calc"],
    &["inspect"],
    &["judge"],
    &["verify"],
    &["report"],
    &["schema"],
    &["completions"],
];

#[test]
fn the_help_lists_every_verb_and_the_exit_codes() {
    let ran = Place::new().run(&["--help"]).exits(0);
    assert_eq!(ran.err, "");
    for verb in VERBS {
        assert!(ran.out.contains(&format!("  {} ", verb[0])), "{verb:?} is not listed");
    }
    snapshot("help", &ran.out);
}

#[test]
fn every_verb_has_an_example_that_names_it() {
    let place = Place::new();
    for verb in VERBS {
        let ran = place.run(&[verb, &["--help"]].concat()).exits(0);
        assert!(ran.out.contains("Example"), "{verb:?} has no example: {}", ran.out);
        assert!(
            ran.out.contains(&format!("pilotage {}", verb.join(" "))),
            "{verb:?}: {}",
            ran.out
        );
    }
}

#[test]
fn every_verb_of_the_program_is_tested_here() {
    let ran = Place::new().run(&["--help"]);
    let listed = ran
        .out
        .lines()
        .skip_while(|line| *line != "Commands:")
        .skip(1)
        .take_while(|line| !line.is_empty());
    let listed: Vec<&str> = listed
        .filter_map(|line| line.strip_prefix("  "))
        .filter(|l| !l.starts_with(' '))
        .collect();
    for line in listed {
        let verb = line.split_whitespace().next().unwrap();
        assert!(
            verb == "help" || VERBS.iter().any(|known| known[0] == verb),
            "{verb} is not in the list of this test"
        );
    }
}

#[test]
fn wrong_usage_exits_2_on_the_standard_error() {
    let place = Place::new();
    let wrong: [&[&str]; 11] = [
        &[],
        &["qualify"],
        &["rehearse"],
        &["rehearse", "x", "--seed", "one"],
        &["rehearse", "x", "--severity", "mild"],
        &["bench", "serve", "--pace", "0"],
        &["bench", "serve", "--pace", "1e300"],
        &["run", "x", "--pace", "NaN"],
        &["calc", "1 V", "--log", "loud=="],
        &["fit"],
        &["fit", "x", "--width", "9"],
    ];
    for arguments in wrong {
        let ran = place.run(arguments).exits(2);
        assert_eq!(ran.out, "", "{arguments:?}");
        assert!(!ran.err.is_empty(), "{arguments:?}");
    }
}

#[test]
fn a_slip_in_a_verb_or_an_option_is_answered_by_the_near_one() {
    let place = Place::new();
    assert!(place.run(&["rehears", "x"]).exits(2).err.contains("rehearse"));
    assert!(
        place
            .run(&["rehearse", "x", "--defekt", "W03"])
            .exits(2)
            .err
            .contains("--defect")
    );
}

#[test]
fn logs_go_to_the_standard_error() {
    let place = Place::new();
    let arguments = [
        "rehearse",
        "wall_unit/quick_check",
        "--no-pdf",
        "--json",
        "--out",
        "r",
        "--log",
        "trace",
    ];
    let ran = place.run(&arguments).exits(0);
    assert_eq!(ran.json()["exit_code"], 0);
    assert!(ran.err.contains("TRACE"), "{}", ran.err);
    assert!(!ran.err.contains('\u{1b}'));
}

#[test]
fn completions_for_every_shell() {
    let place = Place::new();
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let ran = place.run(&["completions", shell]).exits(0);
        assert!(ran.out.contains("rehearse") && ran.err.is_empty(), "{shell}");
    }
    place.run(&["completions", "tcsh"]).exits(2);
}
