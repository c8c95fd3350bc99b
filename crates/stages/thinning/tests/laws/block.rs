//! Small invented trees to choose on.

use corymb_model::frames::Point;
use corymb_model::map::{Cluster, CropMap, Fruitlet};
use corymb_model::orchard::{Limb, LimbKind, OrchardModel, Tree};
use corymb_model::policy::{Policy, Prefer, Target};
use corymb_model::run::Class;
use corymb_model::ways::{ClusterWays, Refusal, RefusalReason, Way};
use nalgebra::Matrix4;

/// A fruitlet to hang on a tree.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Fruit {
    pub(crate) king: f64,
    pub(crate) diameter_mm: f64,
    pub(crate) existence: f64,
    pub(crate) membership: f64,
    /// Whether the tool can take it off.
    pub(crate) reachable: bool,
}

impl Fruit {
    pub(crate) fn sure(king: f64, diameter_mm: f64) -> Self {
        Self {
            king,
            diameter_mm,
            existence: 1.0,
            membership: 1.0,
            reachable: true,
        }
    }
}

/// A cluster to hang on a tree.
#[derive(Debug, Clone)]
pub(crate) struct Spur {
    pub(crate) tree: usize,
    /// Limb and place along it, millimetres.
    pub(crate) place: Option<(usize, u32)>,
    pub(crate) fruit: Vec<Fruit>,
    /// Success of a way by the bits of who stays: taken in turn.
    pub(crate) success: Vec<f64>,
}

/// All that `Input` refers to.
#[derive(Debug, Clone)]
pub(crate) struct Block {
    pub(crate) map: CropMap,
    pub(crate) ways: Vec<ClusterWays>,
    pub(crate) policy: Policy,
    pub(crate) orchard: OrchardModel,
}

impl Block {
    pub(crate) fn of(spurs: &[Spur], policy: Policy) -> Self {
        let trees = spurs.iter().map(|s| s.tree + 1).max().unwrap_or(1);
        let orchard = OrchardModel {
            trees: (0..trees).map(tree).collect(),
            rows: Vec::new(),
            obstacles: Vec::new(),
        };
        let mut block = Self {
            map: CropMap::default(),
            ways: Vec::new(),
            policy,
            orchard,
        };
        for (c, spur) in spurs.iter().enumerate() {
            block.hang(c, spur);
        }
        block
    }

    pub(crate) fn input(&self) -> corymb_thinning::Input<'_> {
        corymb_thinning::Input {
            map: &self.map,
            ways: &self.ways,
            policy: &self.policy,
            orchard: Some(&self.orchard),
        }
    }

    pub(crate) fn decide(&self) -> corymb_model::decisions::Decisions {
        corymb_thinning::decide(&self.input(), &corymb_thinning::Config::default())
    }

    fn hang(&mut self, c: usize, spur: &Spur) {
        let first = self.map.fruitlets.len();
        let members: Vec<usize> = (first..first + spur.fruit.len()).collect();
        self.map.fruitlets.extend(
            spur.fruit
                .iter()
                .zip(&members)
                .map(|(f, i)| fruitlet(*i, c, spur.tree, f)),
        );
        self.map.clusters.push(Cluster {
            id: format!("c{c:03}"),
            tree_idx: Some(spur.tree),
            limb_idx: spur.place.map(|(limb, _)| limb),
            along_limb_m: spur.place.map(|(_, mm)| f64::from(mm) / 1e3),
            spur: Point::new(0.0, 0.0, 0.0),
            spur_deviation_m: 0.001,
            probability: 1.0,
            members: members.clone(),
        });
        self.ways.push(ClusterWays {
            cluster_idx: c,
            ways: ways(spur, &members),
            gap: None,
        });
    }
}

fn fruitlet(i: usize, cluster_idx: usize, tree: usize, f: &Fruit) -> Fruitlet {
    Fruitlet {
        id: format!("f{i:03}"),
        class: Class::Fruitlet,
        tree_idx: Some(tree),
        tree_probability: 1.0,
        cluster_idx,
        cluster_probability: f.membership,
        centre: Point::new(0.0, 0.0, 0.0),
        diameter_m: f.diameter_mm / 1e3,
        covariance_m2: Matrix4::identity() * 1e-8,
        shared_deviation_m: 0.0,
        axis: None,
        stem: None,
        stem_top: None,
        spur: None,
        king_probability: f.king,
        existence: f.existence,
        views: 5,
        detections: Vec::new(),
    }
}

/// Every subset that may stay; what should go and cannot be reached is refused.
fn ways(spur: &Spur, members: &[usize]) -> Vec<Way> {
    let subset = |bits: usize| {
        let mut way = Way {
            probability: 1.0,
            ..Way::default()
        };
        for (k, (&i, f)) in members.iter().zip(&spur.fruit).enumerate() {
            if bits >> k & 1 == 1 {
                way.keepers.push(i);
            } else if f.reachable {
                way.removed_without_tool.push(i);
            } else {
                way.refused.push(refusal(i));
            }
        }
        if !way.removed_without_tool.is_empty() && !spur.success.is_empty() {
            way.probability = spur.success[bits % spur.success.len()];
        }
        way
    };
    (0..1 << members.len()).map(subset).collect()
}

fn refusal(fruitlet_idx: usize) -> Refusal {
    Refusal {
        fruitlet_idx,
        reason: RefusalReason::BlockedByLimb,
        blocked_by: vec!["limb1".into()],
        shortfall: Some(corymb_model::ways::Shortfall::Metres(0.004)),
    }
}

pub(crate) fn tree(t: usize) -> Tree {
    let limb = |l: usize| Limb {
        id: format!("t{t}l{l}"),
        kind: if l == 0 {
            LimbKind::Leader
        } else {
            LimbKind::Limb
        },
        points: vec![Point::new(0.0, 0.0, 0.0), Point::new(1.0, 0.0, 0.0)],
        radii_m: vec![0.01, 0.005],
    };
    Tree {
        id: format!("t{t}"),
        row_idx: 0,
        base: Point::new(0.0, 0.0, 0.0),
        trunk_diameter_m: Some(0.05),
        limbs: (0..3).map(limb).collect(),
    }
}

pub(crate) fn policy(
    keep_at_most: usize,
    fruit_per_tree: Option<f64>,
    spacing_m: Option<f64>,
) -> Policy {
    Policy {
        name: "invented".into(),
        target: Target {
            fruit_per_tree,
            ..Target::default()
        },
        keep_at_most,
        spacing_along_limb_m: spacing_m,
        prefer: Prefer {
            king: 1.0,
            diameter: 0.5,
            reach: 0.25,
        },
        act_above: 0.7,
        ..Policy::default()
    }
}
