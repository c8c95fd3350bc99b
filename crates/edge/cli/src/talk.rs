//! What is said: data to stdout, talk to stderr.

use crate::exit::Failure;
use corymb_formats::Problems;
use std::collections::BTreeSet;
use std::io::{ErrorKind, Write};

/// Width to which sentences are broken.
const WIDTH: usize = 100;

/// Writes data.
///
/// # Errors
/// [`Failure::PipeClosed`] where nobody reads any more.
pub(crate) fn say(text: &str) -> Result<(), Failure> {
    let mut out = std::io::stdout().lock();
    let written = out.write_all(text.as_bytes()).and_then(|()| out.flush());
    written.map_err(|e| match e.kind() {
        ErrorKind::BrokenPipe => Failure::PipeClosed,
        _ => Failure::Stdout(e),
    })
}

/// Talks. That nobody listens is no reason to stop.
pub(crate) fn note(text: &str) {
    let _ = writeln!(std::io::stderr().lock(), "{text}");
}

/// Says why a command did not do what was asked, and where more is said about it.
pub(crate) fn complain(failure: &Failure) {
    note(&failure.to_string());
    if let Failure::Problems(problems) = failure {
        note(&more_about(problems));
    }
}

fn more_about(problems: &Problems) -> String {
    let codes: BTreeSet<&str> = problems.list.iter().map(|p| p.code.id()).collect();
    let lines: Vec<String> = codes
        .iter()
        .map(|c| format!("  corymb explain {c}"))
        .collect();
    format!("More about each:\n{}", lines.join("\n"))
}

/// A paragraph broken into lines at blanks.
pub(crate) fn wrapped(text: &str) -> String {
    let mut out = String::new();
    let mut width = 0;
    for word in text.split_whitespace() {
        let long = word.chars().count();
        if width > 0 && width + 1 + long > WIDTH {
            out.push('\n');
            width = 0;
        } else if width > 0 {
            out.push(' ');
            width += 1;
        }
        out.push_str(word);
        width += long;
    }
    out.push('\n');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sentences_break_at_blanks_and_lose_no_word() {
        let text = "a moving arm with a blade ".repeat(20);
        let broken = wrapped(&text);
        assert!(
            broken
                .lines()
                .all(|l| l.len() <= WIDTH && !l.ends_with(' '))
        );
        assert!(broken.lines().count() > 4);
        let words = |t: &str| t.split_whitespace().map(str::to_owned).collect::<Vec<_>>();
        assert_eq!(words(&broken), words(&text));
    }
}
