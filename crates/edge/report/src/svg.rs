//! A minimal SVG writer: shapes with a style class each, numbers to a tenth of a pixel.

use std::fmt::Write;

/// A picture in the making; coordinates are pixels.
#[derive(Debug, Default)]
pub(crate) struct Svg {
    body: String,
}

impl Svg {
    /// An open or closed line through `points`; fewer than two draw nothing.
    pub(crate) fn path(&mut self, class: &str, points: &[[f64; 2]], closed: bool) {
        if points.len() < 2 {
            return;
        }
        let mut d = String::new();
        for (i, [x, y]) in points.iter().enumerate() {
            let step = if i == 0 { 'M' } else { 'L' };
            let _ = write!(d, "{step}{x:.1} {y:.1}"); // writing to a string cannot fail
        }
        if closed {
            d.push('Z');
        }
        let _ = writeln!(self.body, r#"<path class="{class}" d="{d}"/>"#);
    }

    /// A rectangle from its corners.
    pub(crate) fn rect(&mut self, class: &str, [x0, y0, x1, y1]: [f64; 4]) {
        let (w, h) = (x1 - x0, y1 - y0);
        let _ = writeln!(
            self.body,
            r#"<rect class="{class}" x="{x0:.1}" y="{y0:.1}" width="{w:.1}" height="{h:.1}"/>"#
        );
    }

    /// A dot.
    pub(crate) fn dot(&mut self, class: &str, [x, y]: [f64; 2], radius: f64) {
        let _ = writeln!(
            self.body,
            r#"<circle class="{class}" cx="{x:.1}" cy="{y:.1}" r="{radius:.1}"/>"#
        );
    }

    /// A line of text that begins at a point of its base line.
    pub(crate) fn text(&mut self, [x, y]: [f64; 2], text: &str) {
        let text = escape(text);
        let _ = writeln!(self.body, r#"<text x="{x:.1}" y="{y:.1}">{text}</text>"#);
    }

    /// A line of text whose style class says how it is set and which side of the point it leans to.
    pub(crate) fn text_in(&mut self, class: &str, [x, y]: [f64; 2], text: &str) {
        let text = escape(text);
        let _ = writeln!(
            self.body,
            r#"<text class="{class}" x="{x:.1}" y="{y:.1}">{text}</text>"#
        );
    }

    /// The document of a chart: the class `chart` for its style, title and description for those who cannot see it.
    pub(crate) fn finish_chart(
        self,
        [width, height]: [f64; 2],
        style: &str,
        title: &str,
        description: &str,
    ) -> String {
        let (title, description) = (escape(title), escape(description));
        let body = self.body;
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"chart\" role=\"img\" \
             viewBox=\"0 0 {width:.0} {height:.0}\" width=\"{width:.0}\" height=\"{height:.0}\">\n\
             <title>{title}</title>\n<desc>{description}</desc>\n<style>\n{style}</style>\n{body}</svg>\n"
        )
    }

    /// The document.
    pub(crate) fn finish(self, width: f64, height: f64, style: &str, title: &str) -> String {
        let title = escape(title);
        let body = self.body;
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width:.0} {height:.0}\" \
             width=\"{width:.0}\" height=\"{height:.0}\">\n\
             <title>{title}</title>\n<style>\n{style}</style>\n{body}</svg>\n"
        )
    }
}

/// Text as it may stand in XML; control characters, which may not, become blanks.
pub(crate) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}
