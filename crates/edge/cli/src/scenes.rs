//! Scenes from where the user has them: kinds, files, parts as files, single fields.

use crate::args::SimulateArgs;
use crate::exit::Failure;
use crate::inputs::kept;
use corymb_formats::{Problems, read_toml};
use corymb_simulate::SceneSpec;
use corymb_simulate::spec::{DetectorFile, ErrorsFile, Override, RigFile, with_overrides};
use std::path::Path;

/// The scene that a command line asks for: first the kind or file, then its parts, then single fields.
///
/// # Errors
/// The problems of all files together, or all fields that cannot be changed.
pub(crate) fn asked_for(args: &SimulateArgs) -> Result<SceneSpec, Failure> {
    let mut problems = Problems::default();
    let path = Path::new(&args.scene);
    let scene = if path.extension().is_some_and(|e| e == "toml") {
        content(path, &mut problems)
    } else {
        Some(kind(&args.scene)?)
    };
    let rig = args.rig.as_deref();
    let rig = rig.and_then(|path| content::<RigFile>(path, &mut problems));
    let detector = args.detector.as_deref();
    let detector = detector.and_then(|path| content::<DetectorFile>(path, &mut problems));
    let errors = args.errors.as_deref();
    let errors = errors.and_then(|path| content::<ErrorsFile>(path, &mut problems));
    let Some(mut scene) = scene.filter(|_| problems.is_empty()) else {
        return Err(problems.into());
    };
    if let Some(rig) = rig {
        rig.put_into(&mut scene);
    }
    if let Some(detector) = detector {
        detector.put_into(&mut scene);
    }
    if let Some(errors) = errors {
        errors.put_into(&mut scene);
    }
    with_overrides(&scene, &args.set).map_err(Failure::Overrides)
}

fn kind(name: &str) -> Result<SceneSpec, Failure> {
    SceneSpec::named(name).ok_or_else(|| Failure::UnknownScene {
        name: name.to_owned(),
        known: SceneSpec::NAMES.to_vec(),
    })
}

/// The content of a TOML file, or its problems added to the others.
pub(crate) fn content<T: serde::de::DeserializeOwned>(
    path: &Path,
    problems: &mut Problems,
) -> Option<T> {
    kept(read_toml(path), problems).map(|loaded| loaded.value)
}

/// `PATH=VALUE`, the value as TOML has it; a bare word is text.
///
/// # Errors
/// What was expected, in words.
pub(crate) fn parse_override(text: &str) -> Result<Override, String> {
    let (path, written) = text
        .split_once('=')
        .ok_or("expected PATH=VALUE, like detector.edge_white_px=2")?;
    let (path, written) = (path.trim(), written.trim());
    let is_word = |c: char| c.is_alphanumeric() || c == '_' || c == '-';
    let parsed = toml::from_str::<toml::Table>(&format!("value = {written}"));
    let value = match parsed.map(|mut table| table.remove("value")) {
        Ok(Some(value)) => serde_json::to_value(value).map_err(|e| e.to_string())?,
        _ if !written.is_empty() && written.chars().all(is_word) => written.into(),
        _ => {
            return Err(format!(
                "{written:?} is no TOML value; text with blanks needs quotes"
            ));
        }
    };
    Ok(Override {
        path: path.to_owned(),
        value,
    })
}

/// What each table of a scene file is about.
const ABOUT: [(&str, &str); 9] = [
    ("[orchard]", "Trees, wires, posts."),
    ("[crop]", "Clusters and the bodies in them."),
    ("[leaves]", "What hides them."),
    ("[wind]", "What moves clusters between images."),
    (
        "[detector]",
        "How good the detector is; a file with this table alone can be given by --detector.",
    ),
    (
        "[errors]",
        "Errors of poses, mounting, clock and orchard file; --errors.",
    ),
    (
        "[stated]",
        "What the run states about its noise, right or wrong.",
    ),
    ("[[cameras]]", "The rig, with [[passes]]; --rig."),
    ("[[passes]]", "How the rig moves."),
];

/// The whole scene as TOML that reads back to the same scene.
///
/// # Errors
/// None that a user could mend.
pub(crate) fn as_toml(scene: &SceneSpec) -> Result<String, toml::ser::Error> {
    let mut text = "# A scene for `corymb simulate`, with every field. All of it is invented. Units are in the names; what each field\n\
                    # means stands in the documentation of the crate corymb-simulate, spec::SceneSpec.\n"
        .to_owned();
    let mut told = Vec::new();
    for line in toml::to_string(scene)?.lines() {
        let about = ABOUT.iter().find(|a| a.0 == line && !told.contains(&a.0));
        if let Some((table, about)) = about {
            told.push(*table);
            text += &format!("# {about}\n");
        }
        text += line;
        text.push('\n');
    }
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn values_are_toml_and_bare_words_are_text() {
        for (text, path, value) in [
            (
                "detector.edge_white_px=2",
                "detector.edge_white_px",
                json!(2),
            ),
            ("a.b = -1.5", "a.b", json!(-1.5)),
            (
                "errors.poses=trajectory",
                "errors.poses",
                json!("trajectory"),
            ),
            ("name=\"two words\"", "name", json!("two words")),
            ("orchard.known=false", "orchard.known", json!(false)),
            ("crop.hang=[0.1, 2]", "crop.hang", json!([0.1, 2])),
            ("l={model=\"none\"}", "l", json!({ "model": "none" })),
        ] {
            let expected = Override {
                path: path.into(),
                value,
            };
            assert_eq!(parse_override(text), Ok(expected), "{text}");
        }
        for text in ["detector", "a=", "a=two words", "a=[1"] {
            assert!(parse_override(text).is_err(), "{text}");
        }
    }

    #[test]
    fn every_kind_written_out_reads_back_to_itself() {
        for name in SceneSpec::NAMES {
            let scene = SceneSpec::named(name).expect("a kind");
            let text = as_toml(&scene).expect("TOML");
            assert_eq!(toml::from_str::<SceneSpec>(&text), Ok(scene), "{text}");
            assert!(ABOUT.iter().all(|a| text.contains(a.1)), "{text}");
        }
    }
}
