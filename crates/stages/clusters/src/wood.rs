//! Limbs as places where spurs sit.

use corymb_geometry::solids::point_segment;
use corymb_model::orchard::OrchardModel;
use kiddo::{ImmutableKdTree, SquaredEuclidean};
use nalgebra::Vector3;

/// Spacing of the points that find a limb's segments, metres.
const STEP_M: f64 = 0.02;

/// A straight stretch of a limb.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Segment {
    a: Vector3<f64>,
    b: Vector3<f64>,
    radii_m: [f64; 2],
    /// Distance of `a` from the limb's base along the limb.
    from_base_m: f64,
    /// Position of the limb in [`Wood::limbs`].
    pub(crate) limb: usize,
}

/// A limb by position.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct LimbName {
    /// Position in `OrchardModel::trees`.
    pub(crate) tree_idx: usize,
    /// Position in `Tree::limbs`.
    pub(crate) limb_idx: usize,
}

/// All limbs of an orchard.
#[derive(Default)]
pub(crate) struct Wood {
    /// Every limb.
    pub(crate) limbs: Vec<LimbName>,
    segments: Vec<Segment>,
    segment_of: Vec<usize>,
    tree: Option<ImmutableKdTree<f64, 3>>,
}

/// How a point lies to a limb.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Foot {
    /// Position of the limb in [`Wood::limbs`].
    pub(crate) limb: usize,
    /// Distance from the limb's surface, negative inside.
    pub(crate) height_m: f64,
    /// Distance from the limb's axis.
    pub(crate) off_axis_m: f64,
    /// From the axis to the point, unit; zero on the axis.
    pub(crate) outwards: Vector3<f64>,
    /// Along the limb from its base.
    pub(crate) along_m: f64,
}

impl Wood {
    /// Prepares the limbs of an orchard, if there is one.
    pub(crate) fn new(orchard: Option<&OrchardModel>) -> Wood {
        let mut wood = Wood::default();
        let mut samples: Vec<[f64; 3]> = Vec::new();
        for (tree_idx, tree) in orchard.iter().flat_map(|o| &o.trees).enumerate() {
            for (limb_idx, limb) in tree.limbs.iter().enumerate() {
                let mut from_base_m = 0.0;
                for (k, ends) in limb.points.windows(2).enumerate() {
                    let radius = |i: usize| limb.radii_m.get(i).copied().unwrap_or(0.0);
                    let (a, b) = (ends[0].xyz, ends[1].xyz);
                    let radii_m = [radius(k), radius(k + 1)];
                    wood.sample(
                        Segment {
                            a,
                            b,
                            radii_m,
                            from_base_m,
                            limb: wood.limbs.len(),
                        },
                        &mut samples,
                    );
                    from_base_m += (b - a).norm();
                }
                wood.limbs.push(LimbName { tree_idx, limb_idx });
            }
        }
        wood.tree = if samples.is_empty() {
            None
        } else {
            ImmutableKdTree::new_from_slice(&samples).ok()
        };
        wood
    }

    fn sample(&mut self, segment: Segment, samples: &mut Vec<[f64; 3]>) {
        let span = segment.b - segment.a;
        // a few hundred at most
        let n = (span.norm() / STEP_M).ceil().clamp(1.0, 10_000.0) as u32;
        for k in 0..=n {
            samples.push((segment.a + span * (f64::from(k) / f64::from(n))).into());
            self.segment_of.push(self.segments.len());
        }
        self.segments.push(segment);
    }

    /// Whether any limb is known.
    pub(crate) fn is_empty(&self) -> bool {
        self.limbs.is_empty()
    }

    /// Segments whose axis comes within `reach_m` of a point (and some a little further), ascending.
    pub(crate) fn near(&self, p: &Vector3<f64>, reach_m: f64) -> Vec<Segment> {
        let Some(tree) = &self.tree else {
            return Vec::new();
        };
        let query: [f64; 3] = (*p).into();
        let reach = reach_m + 0.5 * STEP_M;
        let found = tree
            .query(&query)
            .within::<SquaredEuclidean<f64>>(reach * reach)
            .execute();
        let mut idx: Vec<usize> = found
            .into_iter()
            .filter_map(|f| self.segment_of.get(f.item as usize).copied())
            .collect();
        idx.sort_unstable();
        idx.dedup();
        idx.into_iter()
            .filter_map(|i| self.segments.get(i).copied())
            .collect()
    }

    /// The segment nearest to a point, however far.
    pub(crate) fn nearest(&self, p: &Vector3<f64>) -> Option<Segment> {
        let query: [f64; 3] = (*p).into();
        let found = self
            .tree
            .as_ref()?
            .query(&query)
            .nearest_one::<SquaredEuclidean<f64>>()
            .execute();
        let idx = self.segment_of.get(found.item as usize)?;
        self.segments.get(*idx).copied()
    }
}

impl Segment {
    /// How a point lies to the segment.
    pub(crate) fn foot(&self, p: &Vector3<f64>) -> Foot {
        let near = point_segment(p, &self.a, &self.b);
        let radius_m = self.radii_m[0] + (self.radii_m[1] - self.radii_m[0]) * near.share;
        let outwards = (p - near.closest).try_normalize(1e-9).unwrap_or_default();
        Foot {
            limb: self.limb,
            height_m: near.distance_m - radius_m,
            off_axis_m: near.distance_m,
            outwards,
            along_m: self.from_base_m + near.share * (self.b - self.a).norm(),
        }
    }
}
