//! Which step of a sequence must notice a defect.

use pilotage_plan::files::defect::DefectFile;
use pilotage_plan::files::sequence::SequenceFile;

/// The ids of the steps that the defect's file names, in its order.
pub fn named_steps(defect: &DefectFile) -> Vec<String> {
    defect.noticed_by.iter().map(|id| id.value.clone()).collect()
}

/// The first of the steps that the defect's file names which the sequence has.
pub fn claimed_step(defect: &DefectFile, sequence: &SequenceFile) -> Option<String> {
    let has = |id: &str| sequence.steps.iter().any(|step| step.id.value == id);
    named_steps(defect).into_iter().find(|id| has(id))
}
