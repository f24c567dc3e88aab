//! Random sequences as text. The grammar knows the acts, not what makes a sequence acceptable: the fit decides that.
//!
//! It leans towards orders that make sense (supply on early, hands after isolate), or nearly everything would be refused.

use crate::draw::Draw;
use std::fmt::Write;

/// Everything before the guards.
pub(crate) const HEAD: &str = r#"pilotage: sequence/1
title: A random sequence
item: wall_unit
limits: iec_61851_1_2017
default_item: wall_unit_32a
default_bench: mid_bench
basis:
  - {standard: IEC 61851-1, edition: "2017", part: Annex A}
accepts:
  rated_current: {between: [6 A, 32 A]}
cautions:
  - signal: danger
    text: "The connector carries mains voltage."
"#;

/// Interlocks and protections; `EVERY` stands for a time.
pub(crate) const GUARDS: &str = r"interlocks:
  enclosure: {must_be: closed, every: EVERY}
  hard_wired_stop: {proven_within: 12 h}
protect:
  terminal.temperature: {at_most: 90 °C, every: 1 s}
";

const STATES: [&str; 7] = ["state_A", "state_B", "state_C", "state_D", "state_E", "open", "check"];
const LIVE_POINTS: [(&str, &str); 10] = [
    ("ac_output[L-N].voltage", "V"),
    ("ac_output[L-PE].voltage", "V"),
    ("ac_output[N-PE].dc_voltage", "V"),
    ("ac_input[L-N].voltage", "V"),
    ("ac_output[L].current", "A"),
    ("path[L].voltage", "V"),
    ("pilot.high", "V"),
    ("pilot.low", "V"),
    ("pilot.voltage", "V"),
    ("supply.current", "A"),
];

/// Writes one sequence.
struct Writer {
    draw: Draw,
    text: String,
    names: u32,
    isolated: bool,
    supply: bool,
}

/// The text of sequence `number`.
pub(crate) fn sequence(number: u64) -> String {
    let mut writer = Writer {
        draw: Draw::new("sequence", number),
        text: HEAD.to_owned(),
        names: 0,
        isolated: true,
        supply: false,
    };
    if !writer.draw.once_in(20) {
        let every = writer.draw.of(&["50 ms", "100 ms", "200 ms", "500 ms"]);
        writer.text.push_str(&GUARDS.replace("EVERY", every));
    }
    writer.text.push_str("steps:\n");
    for step in 0..=writer.draw.below(4) {
        writer.step(step);
    }
    writer.text
}

impl Writer {
    fn step(&mut self, number: u64) {
        let _ = write!(self.text, "  - step: step {number}\n    id: RA-{number:02}\n");
        match self.draw.below(12) {
            0 => {
                let times = 2 + self.draw.below(2);
                let _ = writeln!(self.text, "    repeat: {{times: {times}}}");
            }
            1 => self.text.push_str("    for_each: {i_set: [6 A, 10 A]}\n"),
            _ => {}
        }
        self.text.push_str("    do:\n");
        let mut acts = Vec::new();
        if number == 0 && !self.draw.once_in(4) {
            acts.push("set: {supply.voltage: $supply_voltage, supply.frequency: $supply_frequency}".to_owned());
            acts.push("set: {supply: on}".to_owned());
            self.supply = true;
            self.isolated = false;
        }
        for _ in 0..=self.draw.below(7) {
            let act = self.act();
            acts.extend(act);
        }
        for act in acts {
            let _ = writeln!(self.text, "      - {act}");
        }
        self.text
            .push_str("    if_fail: {means: \"something\", look_next: [\"somewhere\"], side: wall_unit}\n");
    }

    fn name(&mut self) -> String {
        self.names += 1;
        format!("v{}", self.names)
    }

    fn act(&mut self) -> Vec<String> {
        let one = |act: String| vec![act];
        match self.draw.below(26) {
            0..=4 => one(self.pilot_state()),
            5 => one(self.pilot_detail()),
            6 | 7 => one(self.supply()),
            8 | 9 => self.load(),
            10 => one(self.burden_or_reference()),
            11..=13 => one(format!("hold: {} ms", 10 + self.draw.below(4000))),
            14 | 15 => one(self.read()),
            16 => self.read_and_judge(),
            17 => one(self.wait()),
            18 => one(self.must_not()),
            19 => self.capture(),
            20 | 21 => self.isolate(),
            22 => one(self.ask()),
            23 => one(self.prove()),
            24 => one(self.ramp_or_settle()),
            _ => one(self.sweep()),
        }
    }

    fn pilot_state(&mut self) -> String {
        format!("set: {{pilot_load: {}}}", self.draw.of(&STATES[..]))
    }

    fn pilot_detail(&mut self) -> String {
        match self.draw.below(3) {
            0 => format!(
                "set: {{pilot_load.resistance: {:.0} Ω}}",
                10_f64.powf(self.draw.between(1.31, 5.0))
            ),
            1 => format!("set: {{pilot_load.diode: {}}}", self.draw.of(&["shorted", "normal"])),
            _ => format!(
                "set: {{pilot_load.capacitance: {}}}",
                self.draw.of(&["0 nF", "0.3 nF", "1 nF", "2.4 nF"])
            ),
        }
    }

    fn supply(&mut self) -> String {
        if self.draw.once_in(3) {
            return format!("set: {{supply.voltage: {:.0} V}}", self.draw.between(30.0, 230.0));
        }
        let word = if self.supply && self.draw.once_in(2) {
            "off"
        } else {
            "on"
        };
        self.supply = word == "on";
        self.isolated &= !self.supply;
        format!("set: {{supply: {word}}}")
    }

    fn load(&mut self) -> Vec<String> {
        let amps = self.draw.between(0.0, 32.0);
        match self.draw.below(4) {
            0 => vec!["set: {load: off}".to_owned()],
            1 => vec![format!("set: {{load.current: {amps:.1} A}}")],
            _ => vec![
                format!("set: {{load.current: {amps:.1} A}}"),
                "set: {load: on}".to_owned(),
            ],
        }
    }

    fn burden_or_reference(&mut self) -> String {
        if self.draw.once_in(2) {
            format!("set: {{burden: {}}}", self.draw.of(&["on", "off"]))
        } else {
            format!("set: {{reference: {}}}", self.draw.of(&["ac", "dc", "off"]))
        }
    }

    fn point(&mut self) -> (&'static str, &'static str) {
        LIVE_POINTS[self.draw.below(LIVE_POINTS.len() as u64) as usize]
    }

    fn read(&mut self) -> String {
        let (name, point) = (self.name(), self.point().0);
        if self.isolated && self.draw.once_in(2) {
            let dead = ["path[L].resistance", "path[N].resistance", "proximity.resistance"];
            return format!("read: {{{name}: \"{}\"}}", self.draw.of(&dead));
        }
        format!("read: {{{name}: \"{point}\"}}")
    }

    fn read_and_judge(&mut self) -> Vec<String> {
        let (name, (point, unit)) = (self.name(), self.point());
        let most = self.draw.below(250);
        vec![
            format!("read: {{{name}: \"{point}\"}}"),
            format!("judge: {{{name}: {{at_most: {most} {unit}, title: \"A value\", status: common practice}}}}"),
        ]
    }

    fn wait(&mut self) -> String {
        let (name, deadline) = (self.name(), 1 + self.draw.below(10));
        let condition = self.draw.of(&[
            "pilot.low: {at_most: -8 V}",
            "pilot.high: {at_most: 7 V}",
            "\"ac_output[L-N].voltage\": {at_least: 180 V}",
        ]);
        format!(
            "wait_for: {{{condition}, every: 200 ms, deadline: {deadline} s, as: {name}, otherwise: {{verdict: inconclusive, side: settings, says: \"waits\"}}, status: common practice}}"
        )
    }

    fn must_not(&mut self) -> String {
        let span = 1 + self.draw.below(5);
        format!(
            "must_not: {{\"ac_output[L-N].voltage\": {{at_least: 30 V}}, for: {span} s, every: 100 ms, means: \"closes\", status: common practice}}"
        )
    }

    fn capture(&mut self) -> Vec<String> {
        let (span, state) = (50 + self.draw.below(500), self.pilot_state());
        let channels = self.draw.of(&["pilot", "pilot, \"ac_output[L-N]\""]);
        let act = format!("capture: {{of: [{channels}], for: {span} ms, rate: 20 kHz, while: [{{{state}}}]}}");
        let name = self.name();
        vec![act, format!("find: {{{name}: {{level: pilot, take: mean}}}}")]
    }

    fn isolate(&mut self) -> Vec<String> {
        self.supply = false;
        self.isolated = true;
        let mut acts = vec!["isolate: {}".to_owned()];
        if !self.draw.once_in(4) {
            acts.push(self.hands());
        }
        acts
    }

    fn hands(&mut self) -> String {
        let name = self.name();
        format!(
            "ask: {{prompt: \"Look into the connector. Is it whole?\", answer: yes_no, as: {name}, hands: true, status: common practice}}"
        )
    }

    fn ask(&mut self) -> String {
        if self.isolated || self.draw.once_in(8) {
            return self.hands();
        }
        let name = self.name();
        format!("ask: {{prompt: \"Does the lamp glow?\", answer: yes_no, as: {name}, status: common practice}}")
    }

    fn prove(&mut self) -> String {
        let at = if self.draw.once_in(6) { "ac_input" } else { "ac_output" };
        format!("prove_dead: {{at: {at}, deadline: {} s}}", 1 + self.draw.below(5))
    }

    fn ramp_or_settle(&mut self) -> String {
        if self.draw.once_in(2) {
            let amps = self.draw.below(33);
            return format!("ramp: {{set: {{load.current: {{from: 0 A, to: {amps} A}}}}, over: 2 s, steps: 4}}");
        }
        "settle: {point: \"ac_output[L].current\", band: 0.5 A, for: 500 ms, deadline: 3 s}".to_owned()
    }

    fn sweep(&mut self) -> String {
        let (set, read, point) = (self.name(), self.name(), self.point().0);
        let (from, to) = (
            self.draw.of(&["30 kΩ", "5 kΩ", "20 Ω"]),
            self.draw.of(&["20 Ω", "300 Ω", "100 kΩ"]),
        );
        format!(
            "sweep: {{set: {{pilot_load.resistance: {{from: {from}, to: {to}}}}}, points: 5, spacing: logarithmic, as: {set}, dwell: 200 ms, do: [{{read: {{{read}: \"{point}\"}}}}]}}"
        )
    }
}
