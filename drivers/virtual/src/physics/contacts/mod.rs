//! An inlet or a cable assembly on its bench: contacts, cores, resistors, a latch, a lock; nothing of it acts by itself.
//!
//! | module | holds |
//! | --- | --- |
//! | `insulation` | every leak between two contacts as one network, and the charge that is left on it |
//! | `flex` | gaps of a core or of the latch while somebody flexes, pulls or presses |
//! | `lock` | the motor of an inlet's lock |
//! | `answers` | what can be measured |

mod answers;
mod flex;
mod insulation;
mod lock;

use super::api::{Action, Core, ItemSort, ProximitySet, Setup, UnknownParameter};
use super::heat::{Foster, Heat, Loss, Power, Rise};
use super::random::{Stream, uniform};
use super::station::Station;
use super::values::Values;
use flex::Flexing;
use insulation::{Leaks, Tester};
use lock::Lock;

/// Growth of copper's resistance with its temperature (IEC 60228), 1/K.
const COPPER_PER_K: f64 = 0.003_93;
/// Temperature for which the resistance of copper is stated, K.
const COPPER_COLD_K: f64 = 293.15;
/// Temperature for which the resistance of contacts is stated, K.
const CONTACT_COLD_K: f64 = 298.15;
/// Proximity resistor of a Type 1 connector (SAE J1772), Ω.
const TYPE_1_OHM: f64 = 150.0;
/// Time constant with which the inlet follows a warming sleeve, s.
const SLEEVE_S: f64 = 60.0;
/// The past of heat that is kept, s.
const KEEP_S: f64 = 120.0;

/// Contacts on their bench, with their recent past.
#[allow(clippy::struct_excessive_bools, reason = "each is one fact")]
#[derive(Debug)]
pub(super) struct Contacts {
    now_s: f64,
    sort: ItemSort,
    type_1: bool,
    plug_type_1: bool,
    seed: u64,
    values: Values,
    station: Station,
    /// When the broken guard opens the bench's contactor.
    opens_s: Option<f64>,
    leaks: Leaks,
    tester: Tester,
    source_on: bool,
    source_a: f64,
    heat: Heat,
    latch_pressed: bool,
    flexing: Flexing,
    /// How often it was mated.
    matings: u64,
    proximity: ProximitySet,
    lock: Lock,
    sleeve: Sleeve,
}

/// A sleeve that warms an inlet.
#[derive(Debug, Clone, Copy)]
struct Sleeve {
    on: bool,
    set_k: f64,
    /// Rise of the inlet above the room that it had made, K, and when.
    reached: (f64, f64),
}

impl Contacts {
    pub(super) fn new(setup: &Setup) -> Result<Self, UnknownParameter> {
        let values = Values::new(setup.item, &setup.amounts)?;
        let is_type_1 = |name: &str| setup.words.get(name).is_some_and(|word| word == "type_1");
        let (type_1, plug_type_1) = (is_type_1("connector"), is_type_1("plug"));
        let foster = Foster {
            r_th: ["r_th_contact", "r_th_terminal", "r_th_cable"].map(|name| values.get(name)),
            tau_s: ["tau_contact", "tau_terminal", "tau_cable"].map(|name| values.get(name)),
        };
        let mut contacts = Self {
            now_s: 0.0,
            sort: setup.item,
            type_1,
            plug_type_1,
            seed: setup.seed,
            station: Station::new(&values),
            opens_s: None,
            leaks: Leaks::default(),
            tester: Tester::default(),
            source_on: false,
            source_a: 0.0,
            heat: Heat::new(foster),
            latch_pressed: false,
            flexing: Flexing::new(&values, setup.item, setup.seed),
            matings: 0,
            proximity: ProximitySet::Open,
            lock: Lock::new(&values, setup.item),
            sleeve: Sleeve {
                on: false,
                set_k: values.get("ambient"),
                reached: (0.0, 0.0),
            },
            values,
        };
        contacts.renew();
        Ok(contacts)
    }

    fn is_cable(&self) -> bool {
        self.sort == ItemSort::CableAssembly
    }

    fn ambient_k(&self) -> f64 {
        self.values.get("ambient")
    }

    fn happen_until(&mut self, to_s: f64) {
        if let Some(opens_s) = self.opens_s.filter(|opens_s| *opens_s <= to_s) {
            self.now_s = self.now_s.max(opens_s);
            self.opens_s = None;
            self.station.contactor_closed = self.station.guard_allows();
            self.power_off();
        }
        self.now_s = self.now_s.max(to_s);
    }

    /// The hard-wired stop takes the insulation instrument and the current source away together.
    fn power_off(&mut self) {
        self.tester.switch(false, self.now_s, &self.leaks);
        self.source_on = false;
        self.renew();
    }

    fn guard_holds(&self) -> bool {
        self.station.guard_allows() && self.station.contactor_closed && self.opens_s.is_none() && !self.station.locked
    }

    fn guard(&mut self) {
        if self.opens_s.is_some() {
            return;
        }
        if self.station.guard_allows() {
            self.station.contactor_closed = true;
        } else if self.station.contactor_closed {
            self.opens_s = Some(self.now_s + self.values.get("bench_t_guard"));
        }
    }

    fn perform(&mut self, at_s: f64, action: Action) {
        self.happen_until(at_s);
        let now_s = self.now_s;
        match action {
            Action::Enclosure { closed } => {
                self.station.door_closed = closed;
                self.guard();
            }
            Action::Stop { pressed } => {
                self.station.stop_pressed = pressed;
                self.guard();
            }
            Action::Isolator { locked } => {
                self.station.locked = locked;
                if locked {
                    self.power_off();
                }
            }
            Action::Reference(mode) => self.station.set_reference(now_s, mode),
            Action::Supply { on } => {
                let on = on && self.guard_holds();
                self.tester.switch(on, now_s, &self.leaks);
            }
            Action::SupplyVoltage(volts) => self.tester.volts = volts.max(0.0),
            Action::InsulationPair(first, second) => self.tester.lead(first, second),
            Action::Load { on } => self.source_on = on && self.guard_holds(),
            Action::LoadCurrent(amps) => self.source_a = amps.max(0.0),
            Action::Burden { on } => self.leaks.burden(on.then(|| self.values.get("bench_burden"))),
            Action::Latch { pressed } => self.latch_pressed = pressed,
            Action::Flex { on } => self.flexing.flex(now_s, on),
            Action::Pull { on } => self.flexing.pull(now_s, on),
            Action::Mate => self.matings += 1,
            Action::ProximitySet(set) => self.proximity = set,
            Action::LockDrive { locks } => self.lock.drive(now_s, locks),
            Action::LockVoltage(volts) => self.lock.supply(now_s, volts),
            Action::Sleeve { on, kelvin } => {
                self.sleeve.reached = (self.warmed_k(now_s), now_s);
                self.sleeve.on = on;
                self.sleeve.set_k = kelvin;
            }
            _ => {}
        }
        self.renew();
    }

    fn renew(&mut self) {
        self.leaks.renew(&self.values, self.is_cable(), self.proximity_ohm());
        let power = self.power();
        self.heat.push(self.now_s, power, KEEP_S);
    }

    /// A that flows through the power contacts.
    fn current_a(&self) -> f64 {
        let goes = |core| self.through(core, core, Rise::default()).is_some();
        let closed = goes(Core::L) && goes(Core::N);
        if self.source_on && self.station.passes() && closed {
            self.source_a
        } else {
            0.0
        }
    }

    /// The hotter of the two power contacts, and one conductor of the cable.
    fn power(&self) -> Power {
        let square = self.current_a() * self.current_a();
        let contact = self.values.get("r_contact_l").max(self.values.get("r_contact_n"));
        let (alpha, cable) = (self.values.get("alpha"), self.copper(Core::L));
        Power {
            contact: Loss {
                cold_w: square * contact * (1.0 + alpha * (self.ambient_k() - CONTACT_COLD_K)),
                per_k: square * contact * alpha,
            },
            cable: Loss {
                cold_w: square * cable * (1.0 + COPPER_PER_K * (self.ambient_k() - COPPER_COLD_K)),
                per_k: square * cable * COPPER_PER_K,
            },
        }
    }

    /// Rise that the sleeve has made, K.
    fn warmed_k(&self, at_s: f64) -> f64 {
        let aim_k = if self.sleeve.on {
            self.sleeve.set_k - self.ambient_k()
        } else {
            0.0
        };
        let (was_k, since_s) = self.sleeve.reached;
        aim_k + (was_k - aim_k) * libm::exp(-(at_s - since_s).max(0.0) / SLEEVE_S)
    }

    /// Copper of one core at 20 °C, Ω; an inlet has none.
    fn copper(&self, core: Core) -> f64 {
        if !self.is_cable() {
            return 0.0;
        }
        let area = match core {
            Core::L | Core::N | Core::Pe => self.values.get("cable_area"),
            Core::Cp | Core::Pp => self.values.get("signal_area"),
        };
        17.2e-9 * self.values.get("r_core") * self.values.get("cable_length") / area
    }

    /// Contact of one pole at 25 °C as this mating left it, Ω.
    fn contact(&self, core: Core) -> f64 {
        let name = match core {
            Core::L => "r_contact_l",
            Core::N => "r_contact_n",
            Core::Pe => "r_contact_pe",
            Core::Cp | Core::Pp => "r_contact_signal",
        };
        let chance = 2.0 * uniform(self.seed, Stream::Mating, self.matings, core as u64) - 1.0;
        self.values.get(name) * (1.0 + self.values.get("mating_spread") * chance)
    }

    /// From one contact at the plug to one at the connector, Ω, or `None` where nothing leads there.
    fn through(&self, from: Core, to: Core, rise: Rise) -> Option<f64> {
        let crossed = self.is_cable() && self.values.yes("crossed");
        let ends = match from {
            Core::L if crossed => Core::N,
            Core::N if crossed => Core::L,
            other => other,
        };
        // A detachable cable has a proximity resistor at either end and no core for it.
        let lacks = self.is_cable() && (from == Core::Pp || (from == Core::Cp && self.values.yes("cp_open")));
        if ends != to || lacks {
            return None;
        }
        let contact_k = self.ambient_k() + rise.contact_k() - CONTACT_COLD_K;
        let cable_k = self.ambient_k() + rise.cable_k() - COPPER_COLD_K;
        let contact = self.contact(from) * (1.0 + self.values.get("alpha") * contact_k);
        let cable = self.copper(from) * (1.0 + COPPER_PER_K * cable_k);
        let more = if from == Core::Pe {
            self.values.get("r_pe_more")
        } else {
            0.0
        };
        Some(contact + cable + more)
    }

    /// Proximity to PE at the vehicle's end, Ω: of a connector by its latch, of an inlet its own resistor.
    fn proximity_ohm(&self) -> f64 {
        if !self.is_cable() {
            return self.values.get("r_inlet");
        }
        let coded = self.coded_ohm("r_pp", self.type_1);
        if !self.type_1 {
            return coded;
        }
        let open = match self.values.get("latch_stuck") {
            0.0 => self.latch_pressed,
            stuck => stuck > 1.5,
        };
        coded + if open { self.values.get("r_latch") } else { 0.0 }
    }

    /// The proximity resistor of one end of a cable: what was given, or what connector and rating want.
    fn coded_ohm(&self, name: &str, type_1: bool) -> f64 {
        let given = self.values.get(name);
        match (given > 0.0, type_1) {
            (true, _) => given,
            (false, true) => TYPE_1_OHM * self.values.get("pp_type_1"),
            (false, false) => self.values.cable_code_ohm() * self.values.get("pp_type_2"),
        }
    }
}
