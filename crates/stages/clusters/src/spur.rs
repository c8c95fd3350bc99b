//! The cost of a cluster: the spur that explains its fruit best.
//!
//! The negative log of the probability, integrated over where the spur could be (Laplace's approximation at the best
//! place), that one spur carries exactly these fruit: the density of spurs there, the number of fruit, and each fruit's
//! own evidence. Differences between ways to divide fruit among spurs are therefore log odds.

use crate::config::Config;
use crate::fruit::{Cost, Fruit};
use crate::habit::{Habit, SpurDensity};
use crate::stem::{Cover, StemReading};
use crate::wood::{Segment, Wood};
use nalgebra::{Matrix3, Vector3};
use std::cell::RefCell;
use std::collections::BTreeMap;

/// Steps of the search for the spur; three to five are usual.
const STEPS: usize = 8;
/// A step that lowers the cost by less ends the search, nats.
const SMALLEST_GAIN: f64 = 1e-2;
/// Curvature below which a direction counts as open, 1 / m^2: 25 mm.
const LEAST_CURVATURE: f64 = 1600.0;

/// A cluster's best spur.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Spur {
    /// Cost of the cluster, nats.
    pub(crate) cost: f64,
    /// Where the spur is.
    pub(crate) at: Vector3<f64>,
    /// Inverse of its covariance.
    pub(crate) precision: Matrix3<f64>,
    /// Whether it is hidden.
    pub(crate) cover: Cover,
}

/// Whether two fruit could share a spur at all: their stems are long enough.
pub(crate) fn could_share(a: &Fruit, b: &Fruit, config: &Config) -> bool {
    if a.sits || b.sits {
        return false;
    }
    let reach = a.reach_m + b.reach_m + 2.0 * config.longest_stem_m;
    (a.centre - b.centre).norm_squared() < reach * reach
}

/// The spur of a body that sits on it: at its end away from the axis or, where that is not known, towards the wood.
fn sitting(fruit: &Fruit, towards_wood: Option<Vector3<f64>>) -> Spur {
    let down = fruit
        .axis
        .map(|(axis, _)| -axis)
        .or(towards_wood)
        .unwrap_or_default();
    Spur {
        cost: 0.0,
        at: fruit.centre + down * fruit.reach_m,
        precision: Matrix3::identity() / fruit.reach_m.max(1e-3).powi(2),
        cover: Cover::Open,
    }
}

/// Fruit with what is needed to weigh clusters of them. Clusters once weighed are remembered.
pub(crate) struct Scales<'a> {
    pub(crate) fruit: &'a [Fruit],
    pub(crate) habit: Habit,
    pub(crate) config: &'a Config,
    /// Limb segments near each fruit.
    pub(crate) near: Vec<Vec<Segment>>,
    /// Each fruit's spur if it is alone.
    pub(crate) alone: Vec<Spur>,
    weighed: RefCell<BTreeMap<Vec<usize>, Spur>>,
}

impl<'a> Scales<'a> {
    /// Prepares and weighs every fruit alone.
    pub(crate) fn new(
        fruit: &'a [Fruit],
        wood: &Wood,
        habit: Habit,
        config: &'a Config,
    ) -> Scales<'a> {
        let reach = |f: &Fruit| f.reach_m + 2.0 * config.longest_stem_m;
        let near: Vec<Vec<Segment>> = fruit
            .iter()
            .map(|f| wood.near(&f.centre, reach(f)))
            .collect();
        let mut scales = Scales {
            fruit,
            habit,
            config,
            near,
            alone: Vec::new(),
            weighed: RefCell::new(BTreeMap::new()),
        };
        scales.alone = (0..fruit.len()).map(|i| scales.weigh_alone(i)).collect();
        scales
    }

    fn weigh_alone(&self, i: usize) -> Spur {
        let fruit = &self.fruit[i];
        let feet = self.near[i].iter().map(|s| s.foot(&fruit.centre));
        let nearest = feet.min_by(|a, b| a.height_m.total_cmp(&b.height_m));
        if fruit.sits {
            return sitting(fruit, nearest.map(|f| -f.outwards));
        }
        let starts = fruit.guesses(&self.habit, nearest.map(|f| -f.outwards));
        let tried = starts.iter().map(|s| self.descend(&[i], s));
        let best = tried.min_by(|a, b| a.cost.total_cmp(&b.cost));
        best.unwrap_or_else(|| self.descend(&[i], &fruit.centre))
    }

    /// Whether two fruit could share a spur at all.
    pub(crate) fn could_share(&self, i: usize, j: usize) -> bool {
        could_share(&self.fruit[i], &self.fruit[j], self.config)
    }

    /// The best spur for `members` (ascending, not empty).
    pub(crate) fn weigh(&self, members: &[usize]) -> Spur {
        if let [only] = members {
            return self.alone[*only];
        }
        if let Some(known) = self.weighed.borrow().get(members) {
            return *known;
        }
        let spur = self.weigh_together(members);
        self.weighed.borrow_mut().insert(members.to_vec(), spur);
        spur
    }

    /// Everything weighed so far but single fruit.
    pub(crate) fn weighed(&self) -> Vec<(Vec<usize>, Spur)> {
        self.weighed
            .borrow()
            .iter()
            .map(|(k, v)| (k.clone(), *v))
            .collect()
    }

    /// From the members' own best places: their mean by precision, and those of the two surest members.
    fn weigh_together(&self, members: &[usize]) -> Spur {
        let own = members.iter().map(|&i| &self.alone[i]);
        let (mut sum, mut pulled) = (Matrix3::zeros(), Vector3::zeros());
        for s in own.clone() {
            sum += s.precision;
            pulled += s.precision * s.at;
        }
        let mut surest: Vec<(f64, Vector3<f64>)> =
            own.map(|s| (s.precision.determinant(), s.at)).collect();
        surest.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut starts: Vec<Vector3<f64>> = surest.iter().take(2).map(|(_, at)| *at).collect();
        starts.extend(sum.cholesky().map(|c| c.solve(&pulled)));
        let valued = starts.iter().map(|s| (self.value(members, s).0.value, s));
        let start = valued
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map_or(self.fruit[members[0]].centre, |(_, s)| *s);
        self.descend(members, &start)
    }

    /// Newton's method with a positive semidefinite curvature, each step shortened until it helps.
    fn descend(&self, members: &[usize], start: &Vector3<f64>) -> Spur {
        let (mut at, (mut now, mut cover)) = (*start, self.value(members, start));
        for _ in 0..STEPS {
            let curvature = now.curvature + Matrix3::identity() * LEAST_CURVATURE;
            let Some(step) = curvature.cholesky().map(|c| c.solve(&now.gradient)) else {
                break;
            };
            let mut shortened = step;
            let mut better = None;
            for _ in 0..4 {
                let next = at - shortened;
                let (there, under) = self.value(members, &next);
                if there.value < now.value {
                    better = Some((next, there, under));
                    break;
                }
                shortened *= 0.3;
            }
            let Some((next, there, under)) = better else {
                break;
            };
            let gained = now.value - there.value;
            (at, now, cover) = (next, there, under);
            if gained < SMALLEST_GAIN {
                break;
            }
        }
        let precision = now.curvature + Matrix3::identity() * LEAST_CURVATURE;
        let two_pi = 2.0 * std::f64::consts::PI;
        let volume = 0.5 * precision.determinant().max(1.0).ln() - 1.5 * two_pi.ln();
        let cost = now.value + volume + self.habit.number_cost(members.len(), self.config);
        Spur {
            cost,
            at,
            precision,
            cover,
        }
    }

    /// Cost of a spur at a place, open or covered as is likelier, without its volume and the number of fruit.
    fn value(&self, members: &[usize], at: &Vector3<f64>) -> (Cost, Cover) {
        let share = self.config.covered_share.clamp(1e-6, 0.999);
        let density = self
            .habit
            .spur_density(at, &self.near[members[0]], self.config);
        let (mut open, all_whole) = self.served(members, at, &density, Cover::Open);
        open.value -= (1.0 - share).ln();
        // only stems that seem short or wrong speak for a cover
        if members.len() < 2 || all_whole {
            return (open, Cover::Open);
        }
        let (mut covered, _) = self.served(members, at, &density, Cover::Covered);
        covered.value -= share.ln();
        if covered.value < open.value {
            (covered, Cover::Covered)
        } else {
            (open, Cover::Open)
        }
    }

    /// Cost of the spur's place and of serving the fruit from it; and whether every stem seen is read as whole.
    fn served(
        &self,
        members: &[usize],
        at: &Vector3<f64>,
        density: &SpurDensity,
        cover: Cover,
    ) -> (Cost, bool) {
        let mut out = Cost {
            value: density.cost,
            gradient: density.gradient,
            curvature: density.curvature,
        };
        let mut all_whole = true;
        for &i in members {
            let fruit = &self.fruit[i];
            let (own, reading) = fruit.cost(at, cover, &self.habit, self.config);
            out.value += own.value;
            out.gradient += own.gradient;
            out.curvature += own.curvature;
            all_whole &= fruit.stem.is_none() || reading == StemReading::Whole;
        }
        if let Some(foot) = &density.foot {
            for &i in members {
                let along = (self.fruit[i].top(at) - at).normalize();
                out.value -= self.habit.outward * along.dot(&foot.outwards);
            }
        }
        (out, all_whole)
    }
}

#[cfg(test)]
mod tests {
    use super::Scales;
    use crate::config::Config;
    use crate::fruit::Fruit;
    use crate::habit::Habit;
    use crate::wood::Wood;
    use corymb_simulate::{SceneSpec, simulate, truth_as_scene};
    use nalgebra::Vector3;

    #[test]
    fn no_place_nearby_serves_a_cluster_better() {
        let s = simulate(&SceneSpec::two_trees(), 41).unwrap();
        let config = Config::default();
        let mut scene = truth_as_scene(&s);
        // every second stem unseen, so that axes and limbs decide
        scene
            .bodies
            .iter_mut()
            .step_by(2)
            .for_each(|b| b.stem = None);
        let fruit: Vec<Fruit> = scene
            .bodies
            .iter()
            .map(|b| Fruit::new(b, &config))
            .collect();
        let wood = Wood::new(s.run.orchard.as_ref());
        let scales = Scales::new(&fruit, &wood, Habit::prior(&config, 0.0), &config);
        let mut tried = 0;
        for i in 0..fruit.len() - 1 {
            if !scales.could_share(i, i + 1) {
                continue;
            }
            let members = [i, i + 1];
            let spur = scales.weigh(&members);
            let least = scales.value(&members, &spur.at).0.value;
            for k in 0..125 {
                let step = |n: i32| f64::from(n % 5 - 2) * 0.0005;
                let beside = spur.at + Vector3::new(step(k), step(k / 5), step(k / 25));
                let there = scales.value(&members, &beside).0.value;
                assert!(there > least - 0.3, "{there} beside {least} of {members:?}");
            }
            tried += 1;
        }
        assert!(tried > 10);
    }
}
