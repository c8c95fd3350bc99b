//! Plain tables for a terminal.

/// Which side a column leans to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lean {
    /// Words.
    Left,
    /// Numbers.
    Right,
}

/// A table of `rows` under `heads`; columns two blanks apart, no line ends in a blank. Cells beyond the heads are
/// left out.
#[must_use]
pub fn render(heads: &[(&str, Lean)], rows: &[Vec<String>]) -> String {
    let width = |c: usize| {
        rows.iter()
            .filter_map(|r| r.get(c))
            .map(|cell| cell.chars().count())
            .chain(heads.get(c).map(|(h, _)| h.chars().count()))
            .max()
            .unwrap_or(0)
    };
    let widths: Vec<usize> = (0..heads.len()).map(width).collect();
    let line = |cells: &[String]| {
        let padded: Vec<String> = cells
            .iter()
            .zip(heads)
            .zip(&widths)
            .map(|((cell, (_, lean)), &w)| match lean {
                Lean::Left => format!("{cell:<w$}"),
                Lean::Right => format!("{cell:>w$}"),
            })
            .collect();
        padded.join("  ").trim_end().to_owned() + "\n"
    };
    let names: Vec<String> = heads.iter().map(|(h, _)| (*h).to_owned()).collect();
    let mut out = line(&names);
    for row in rows {
        out += &line(row);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_line_up_and_lines_end_in_ink() {
        let heads = [
            ("tree", Lean::Left),
            ("found", Lean::Right),
            ("note", Lean::Left),
        ];
        let rows =
            [["a", "7", ""], ["long name", "123456", "x"]].map(|r| r.map(str::to_owned).to_vec());
        assert_eq!(
            render(&heads, &rows),
            "tree        found  note\na               7\nlong name  123456  x\n"
        );
    }
}
