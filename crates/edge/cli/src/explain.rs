//! `corymb explain`: what a problem's code means.

use crate::args::ExplainArgs;
use crate::exit::{Exit, Failure};
use crate::talk;
use corymb_formats::{CodeEntry, all_codes};
use corymb_report::table::{Lean, render};

/// Prints a page about a code, or the list of all.
///
/// # Errors
/// No problem has that code.
pub(crate) fn explain(args: &ExplainArgs) -> Result<Exit, Failure> {
    let text = match &args.code {
        None => list(),
        Some(code) => {
            page(corymb_formats::explain(code).ok_or_else(|| Failure::UnknownCode(code.clone()))?)
        }
    };
    talk::say(&text)?;
    Ok(Exit::Done)
}

fn list() -> String {
    let rows: Vec<Vec<String>> = all_codes()
        .iter()
        .map(|c| vec![c.id().to_owned(), c.entry().title.to_owned()])
        .collect();
    render(&[("code", Lean::Left), ("means", Lean::Left)], &rows)
}

fn page(entry: &CodeEntry) -> String {
    format!(
        "{}: {}\n\nWhy it comes about: {}\nWhat to do: {}\nFor example: {}\n",
        entry.code.id(),
        entry.title,
        entry.cause,
        entry.action,
        entry.bad_example,
    )
}
