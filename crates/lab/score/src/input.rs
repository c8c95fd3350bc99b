//! What a score is made from.

use corymb_model::arm::ArmSetup;
use corymb_model::decisions::Decisions;
use corymb_model::map::CropMap;
use corymb_model::orchard::OrchardModel;
use corymb_model::orders::TaskList;
use corymb_model::policy::Policy;
use corymb_model::run::Run;
use corymb_model::truth::Truth;

/// What a run's stages gave, and the truth. Whatever is absent is left out of the score, which says so.
#[derive(Debug, Clone, Copy)]
pub struct ScoreInput<'a> {
    /// The run.
    pub run: &'a Run,
    /// The truth of the run.
    pub truth: &'a Truth,
    /// The crop map.
    pub map: Option<&'a CropMap>,
    /// The decisions, about the fruitlets of `map`.
    pub decisions: Option<&'a Decisions>,
    /// The task list, about the fruitlets of `map`.
    pub tasks: Option<&'a TaskList>,
    /// The policy that the decisions were made under.
    pub policy: Option<&'a Policy>,
    /// The set-up that the orders were made for.
    pub setup: Option<&'a ArmSetup>,
    /// Limbs and obstacles as they truly are; `None` = as the run's orchard file states them.
    pub true_orchard: Option<&'a OrchardModel>,
}
