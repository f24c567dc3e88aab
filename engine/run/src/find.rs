//! What is found in the last capture or in the last sweep becomes a reading.

use crate::halt::Halt;
use crate::runner::Runner;
use crate::sweep::{Crossing, Found};
use crate::values::missing;
use crate::world::{Bench, Clock, Journal, People};
use pilotage_plan::program::{Find, FindSpec};
use std::collections::BTreeMap;

impl<B: Bench, C: Clock, J: Journal, P: People> Runner<'_, B, C, J, P> {
    /// Each analysis of the act.
    pub(crate) fn find_all(&mut self, specs: &[FindSpec]) -> Result<(), Halt> {
        specs.iter().try_for_each(|spec| self.find_one(spec))
    }

    fn find_one(&mut self, spec: &FindSpec) -> Result<(), Halt> {
        let (datum, from) = match &spec.find {
            Find::Swept {
                of,
                crossing,
                rises,
                level,
                back,
            } => self.sweep.find(Crossing {
                of,
                crossing,
                rises: *rises,
                level_si: level.si(),
                back: *back,
            }),
            in_capture => self.find_in_capture(in_capture),
        };
        let now = self.clock.now();
        let named = crate::runner::Named {
            name: &spec.name,
            point: "",
            unit: &spec.unit,
        };
        let mut reading = self.computed(&named, datum, (now, now));
        reading.formula = Some("find".to_owned());
        reading.from = from;
        self.put_reading(reading).map(drop)
    }

    fn find_in_capture(&self, find: &Find) -> Found {
        (Err(missing(format!("{find:?}"))), BTreeMap::new())
    }
}
