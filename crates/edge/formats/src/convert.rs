//! Words of files and the model's values for them.

use crate::wire::arm::ToolActionWire;
use crate::wire::orchard::LimbKindWire;
use crate::wire::policy::PinAsWire;
use crate::wire::run::ClassWire;
use corymb_model::arm::ToolAction;
use corymb_model::orchard::LimbKind;
use corymb_model::policy::PinAs;
use corymb_model::run::Class;

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
