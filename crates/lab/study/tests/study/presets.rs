//! The shipped detectors, rigs and studies.

use crate::files::{Fixtures, fixtures, study_file, text};
use corymb_simulate::SceneSpec;
use corymb_simulate::spec::{DetectorFile, RigFile, check};

fn all<T: serde::de::DeserializeOwned>(folder: &str) -> Vec<(String, T)> {
    let entries = fixtures().join(folder).read_dir().unwrap();
    let mut found: Vec<(String, T)> = entries
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .map(|p| {
            let name = p.file_stem().unwrap().to_string_lossy().into_owned();
            let parsed = toml::from_str(&text(&p).unwrap());
            (
                name,
                parsed.unwrap_or_else(|e| panic!("{}: {e}", p.display())),
            )
        })
        .collect();
    found.sort_by(|a, b| a.0.cmp(&b.0));
    found
}

#[test]
fn detectors_and_rigs_fit_every_kind() {
    let (detectors, rigs) = (all::<DetectorFile>("detectors"), all::<RigFile>("rigs"));
    assert!(detectors.len() >= 3 && rigs.len() >= 3);
    for kind in SceneSpec::NAMES {
        for (_, detector) in &detectors {
            for (_, rig) in &rigs {
                let mut scene = SceneSpec::named(kind).unwrap();
                rig.put_into(&mut scene);
                detector.put_into(&mut scene);
                assert_eq!(check(&scene), Ok(()), "{kind}");
                assert_eq!(
                    (&scene.cameras, &scene.detector),
                    (&rig.cameras, &detector.detector)
                );
                assert_eq!(scene.stated.box_edge_px, detector.stated.box_edge_px);
            }
        }
    }
}

#[test]
fn the_mast_is_that_of_the_named_scenes_and_detectors_are_ordered() {
    let rigs = all::<RigFile>("rigs");
    let mast = rigs.iter().find(|r| r.0 == "mast").unwrap();
    assert_eq!(mast.1.cameras, SceneSpec::platform().cameras);
    let detectors = all::<DetectorFile>("detectors");
    let of = |name: &str| &detectors.iter().find(|d| d.0 == name).unwrap().1.detector;
    for (worse, better) in [("weak", "fair"), ("fair", "good")] {
        let (worse, better) = (of(worse), of(better));
        assert!(worse.body.probability < better.body.probability);
        assert!(worse.body.half_size_px > better.body.half_size_px);
        assert!(worse.edge_white_px > better.edge_white_px);
        assert!(worse.false_per_image > better.false_per_image);
    }
}

#[test]
fn shipped_studies_have_the_combinations_that_they_name() {
    let study = study_file("detectors_and_rigs.toml")
        .resolve(&mut Fixtures)
        .unwrap();
    assert_eq!(
        (study.scenes.len(), study.settings.len(), study.runs()),
        (6, 1, 60)
    );
    assert_eq!(study.varied, ["detector", "rig"]);
    assert_eq!(study.scenes[1].values, ["weak", "pair"]);
    assert_eq!(study.scenes[1].spec.cameras.len(), 2);
}
