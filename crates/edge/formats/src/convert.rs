//! Words of files and the model's values for them.

use crate::wire::arm::ToolActionWire;
use crate::wire::decisions::{ActionWire, BoundWire, RuleWire};
use crate::wire::diagnostics::{EventKindWire, EventReasonWire};
use crate::wire::orchard::LimbKindWire;
use crate::wire::orders::ReasonWire;
use crate::wire::policy::PinAsWire;
use crate::wire::run::ClassWire;
use corymb_model::arm::ToolAction;
use corymb_model::decisions::{Action, Bound, Rule};
use corymb_model::diagnostics::{EventKind, EventReason};
use corymb_model::orchard::LimbKind;
use corymb_model::policy::PinAs;
use corymb_model::run::Class;
use corymb_model::ways::RefusalReason;

/// Implements both directions of a one-to-one match between two enumerations.
macro_rules! same_words {
    ($wire:ty = $model:ty { $($variant:ident),* $(,)? }) => {
        impl From<$wire> for $model {
            fn from(word: $wire) -> Self {
                match word { $(<$wire>::$variant => <$model>::$variant,)* }
            }
        }
        impl From<$model> for $wire {
            fn from(value: $model) -> Self {
                match value { $(<$model>::$variant => <$wire>::$variant,)* }
            }
        }
    };
}

same_words!(
    ClassWire = Class {
        Fruitlet,
        Stem,
        Calyx,
        Flower,
        KingFlower,
        FlowerCluster,
        Bud,
        Ignore
    }
);
same_words!(
    EventKindWire = EventKind {
        Begun,
        Merged,
        Split,
        Dropped
    }
);
same_words!(
    EventReasonWire = EventReason {
        LeftoverBoxes,
        BetterTogether,
        BetterApart,
        OverlapsAnother,
        OthersExplain,
        FewerThanTwoBoxes,
        ExistenceTooLow
    }
);
same_words!(LimbKindWire = LimbKind { Leader, Limb });
same_words!(
    PinAsWire = PinAs {
        Keep,
        Remove,
        LeaveAlone
    }
);
same_words!(
    ToolActionWire = ToolAction {
        EncloseTarget,
        EncloseKeeper
    }
);
same_words!(
    ActionWire = Action {
        Keep,
        Remove,
        LookAgain
    }
);
same_words!(
    BoundWire = Bound {
        TrunkArea,
        PerTree,
        LimbArea
    }
);
same_words!(
    RuleWire = Rule {
        Pin,
        Confidence,
        ClusterLimit,
        TreeTarget,
        Spacing,
        LastSureFruit,
        NoBound,
        Preferred,
    }
);
same_words!(
    ReasonWire = RefusalReason {
        NoAxis,
        TooLarge,
        StemTooShort,
        BlockedByFruit,
        CutsOtherStem,
        BlockedByLimb,
        BlockedByObstacle,
        OutOfReach,
        ReachDirection,
        LastSureFruit,
        NoKeeper,
        BladeMissesStem,
        TooUnlikely,
        ClusterTooLarge,
    }
);

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    /// The model's own names and the words of files must not drift apart.
    #[test]
    fn words_of_files_are_the_models_names() {
        for class in Class::ALL {
            assert_eq!(json!(ClassWire::from(class)), json!(class.name()));
        }
        for action in [Action::Keep, Action::Remove, Action::LookAgain] {
            assert_eq!(json!(ActionWire::from(action)), json!(action.name()));
        }
        for bound in [Bound::TrunkArea, Bound::PerTree, Bound::LimbArea] {
            assert_eq!(json!(BoundWire::from(bound)), json!(bound.name()));
        }
        for tool in [ToolAction::EncloseTarget, ToolAction::EncloseKeeper] {
            assert_eq!(json!(ToolActionWire::from(tool)), json!(tool.name()));
        }
    }

    #[test]
    fn words_of_rules_and_reasons_are_the_models_names() {
        use RefusalReason as Reason;
        use Rule::{
            ClusterLimit, Confidence, LastSureFruit, NoBound, Pin, Preferred, Spacing, TreeTarget,
        };
        for rule in [
            Pin,
            Confidence,
            ClusterLimit,
            TreeTarget,
            Spacing,
            LastSureFruit,
            NoBound,
            Preferred,
        ] {
            assert_eq!(json!(RuleWire::from(rule)), json!(rule.name()));
        }
        for reason in [
            Reason::NoAxis,
            Reason::TooLarge,
            Reason::StemTooShort,
            Reason::BlockedByFruit,
            Reason::CutsOtherStem,
            Reason::BlockedByLimb,
            Reason::BlockedByObstacle,
            Reason::OutOfReach,
            Reason::ReachDirection,
            Reason::LastSureFruit,
            Reason::NoKeeper,
            Reason::BladeMissesStem,
            Reason::TooUnlikely,
            Reason::ClusterTooLarge,
        ] {
            assert_eq!(json!(ReasonWire::from(reason)), json!(reason.name()));
        }
    }
}
