//! Prints the figures of the named scenes: how many bodies, boxes, views.
#![allow(clippy::print_stdout)]

use corymb_model::run::Class;
use corymb_simulate::{SceneSpec, SimulateError, simulate};
use std::collections::BTreeMap;
use std::time::Instant;

fn main() -> Result<(), SimulateError> {
    let wanted: Vec<String> = std::env::args().skip(1).collect();
    for name in SceneSpec::NAMES {
        if (wanted.is_empty() || wanted.iter().any(|w| w == name))
            && let Some(spec) = SceneSpec::named(name)
        {
            figures(name, &spec)?;
        }
    }
    Ok(())
}

fn figures(name: &str, spec: &SceneSpec) -> Result<(), SimulateError> {
    let start = Instant::now();
    let s = simulate(spec, 1)?;
    let seconds = start.elapsed().as_secs_f64();
    let mut classes: BTreeMap<Class, usize> = BTreeMap::new();
    let mut views = vec![0; s.truth.fruitlets.len()];
    let mut false_boxes = 0;
    let mut widths_px = Vec::new();
    for frame in &s.run.frames {
        for (d, label) in frame.detections.iter().zip(&s.truth.detections[&frame.id]) {
            *classes.entry(d.class).or_default() += 1;
            match label {
                Some(k) if d.class.is_body() => {
                    views[*k] += 1;
                    widths_px.push(d.box_px[2] - d.box_px[0]);
                }
                None => false_boxes += 1,
                Some(_) => {}
            }
        }
    }
    let seen = views.iter().filter(|v| **v > 0).count();
    let mut seen_views: Vec<usize> = views.iter().copied().filter(|v| *v > 0).collect();
    seen_views.sort_unstable();
    widths_px.sort_by(f64::total_cmp);
    let median = |v: &[usize]| v.get(v.len() / 2).copied().unwrap_or(0);
    println!(
        "{name}: {} images, {} bodies ({seen} seen), {} clusters, boxes {classes:?}, {false_boxes} false, median views {}, \
         width {:.1} px, hidden {:.2}, {seconds:.2} s",
        s.run.frames.len(),
        s.truth.fruitlets.len(),
        s.true_scene.cluster_ids.len(),
        median(&seen_views),
        widths_px
            .get(widths_px.len() / 2)
            .copied()
            .unwrap_or(f64::NAN),
        s.true_scene.hidden_share,
    );
    let mut sizes = [0; 7];
    let mut of_cluster: BTreeMap<&str, usize> = BTreeMap::new();
    for f in &s.truth.fruitlets {
        *of_cluster.entry(&f.cluster).or_default() += 1;
    }
    of_cluster.values().for_each(|n| sizes[*n] += 1);
    let mean = |of: &dyn Fn(&corymb_model::truth::TrueFruitlet) -> f64| {
        s.truth.fruitlets.iter().map(of).sum::<f64>() / s.truth.fruitlets.len().max(1) as f64
    };
    println!(
        "   cluster sizes {sizes:?}, diameter {:.2} mm, axis z {:.2}",
        mean(&|f| f.diameter_m * 1e3),
        mean(&|f| f.axis.xyz.z)
    );
    Ok(())
}
