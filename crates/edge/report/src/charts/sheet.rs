//! The sheet that a chart is drawn on: title, the line about it, the key, and what it says to a screen reader.

use crate::svg::Svg;

/// Width of every chart, pixels.
pub(crate) const WIDTH: f64 = 640.0;
/// Left end of titles and keys.
pub(crate) const MARGIN: f64 = 24.0;
/// Height of a line of text.
pub(crate) const LINE: f64 = 18.0;
/// More than the height of any chart; the picture's edge cuts the ground off.
const TALLEST: f64 = 2000.0;
/// Letters of 13 pixels that a line of the sheet surely holds.
const LETTERS: usize = 84;
/// Lines that what a chart is about may take.
const ABOUT_LINES: usize = 2;

/// Three sizes of type; ink and grey for words, blue (`own`) for what the program says, ochre (`other`) for what it is
/// compared with. The two colours also differ in lightness, and no shape is used for both.
const STYLE: &str = "\
.chart{background:#fff}
.chart .sheet{fill:#fff}
.chart text{font-family:sans-serif;font-size:13px;fill:#262626}
.chart .head{font-size:18px;font-weight:bold}
.chart .panel{font-weight:bold}
.chart .halo{paint-order:stroke;stroke:#fff;stroke-width:4px}
.chart .soft{fill:#595959}
.chart .mid{text-anchor:middle}
.chart .end{text-anchor:end}
.chart .tick{font-size:12px}
.chart .tick.pale{fill:#8a8a8a}
.chart path{fill:none}
.chart .grid{stroke:#e3e0d8;stroke-width:1}
.chart .rule{stroke:#595959;stroke-width:1}
.chart .ideal{stroke:#595959;stroke-width:1.4;stroke-dasharray:6 4}
.chart .own{stroke:#174f70;stroke-width:2}
.chart .thin{stroke:#174f70;stroke-width:1.4}
.chart .dot{fill:#174f70}
.chart .hole{fill:#fff;stroke:#174f70;stroke-width:2}
.chart .bar{fill:#a9c3d1;stroke:#174f70;stroke-width:1}
.chart .other{fill:#f3dcbc;stroke:#b5701f;stroke-width:1}
.chart .curve{stroke:#b5701f;stroke-width:2}
.chart .t0{fill:#fff;stroke:#e3e0d8}
.chart .t1{fill:#e4edf2;stroke:#fff}
.chart .t2{fill:#cbdce5;stroke:#fff}
.chart .t3{fill:#b1cad8;stroke:#fff}
.chart .t4{fill:#97b8ca;stroke:#fff}
.chart .frame{fill:none;stroke:#262626;stroke-width:2}
";

/// A mark of the key.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Mark {
    /// A filled dot.
    Dot,
    /// A filled dot with a bar through it.
    DotWithBar,
    /// A broken line.
    Ideal,
    /// A heavy line.
    Line,
    /// A heavy line in the other colour.
    Curve,
    /// A filled box.
    Bar,
    /// A filled box in the other colour.
    Other,
    /// A box with a white dot and lines at its ends.
    Spread,
    /// A box with a heavy rim.
    Frame,
}

/// A chart in the making.
pub(crate) struct Sheet {
    pub(crate) svg: Svg,
    title: String,
    about: String,
    /// Base line of the next line at the head of the sheet.
    pub(crate) y: f64,
}

impl Sheet {
    /// A white sheet with its head; what it is about takes one line or two.
    pub(crate) fn new(title: &str, about: &str) -> Self {
        let mut sheet = Self {
            svg: Svg::default(),
            title: title.to_owned(),
            about: about.to_owned(),
            y: 30.0,
        };
        sheet.svg.rect("sheet", [0.0, 0.0, WIDTH, TALLEST]);
        sheet.svg.text_in("head", [MARGIN, sheet.y], title);
        sheet.y += 22.0;
        for line in lines(about) {
            sheet.svg.text_in("soft", [MARGIN, sheet.y], &line);
            sheet.y += LINE;
        }
        sheet
    }

    /// A line of words at the head.
    pub(crate) fn line(&mut self, words: &str) {
        self.svg.text_in("soft", [MARGIN, self.y], words);
        self.y += LINE;
    }

    /// A row of marks, each with its words; a new row where one is full.
    pub(crate) fn key(&mut self, entries: &[(Mark, &str)]) {
        let mut x = MARGIN;
        for (mark, words) in entries {
            let width = 40.0 + 6.6 * words.chars().count() as f64;
            if x > MARGIN && x + width > WIDTH - MARGIN {
                x = MARGIN;
                self.y += LINE;
            }
            self.mark(*mark, [x, self.y - 4.0]);
            self.svg.text_in("soft", [x + 26.0, self.y], words);
            x += width;
        }
        self.y += LINE;
    }

    fn mark(&mut self, mark: Mark, [x, y]: [f64; 2]) {
        let svg = &mut self.svg;
        let (row, middle) = ([[x, y], [x + 20.0, y]], x + 10.0);
        let whole = [x, y - 6.0, x + 20.0, y + 6.0];
        match mark {
            Mark::Dot => svg.dot("dot", [middle, y], 4.0),
            Mark::DotWithBar => {
                svg.path("thin", &[[middle, y - 8.0], [middle, y + 8.0]], false);
                svg.dot("dot", [middle, y], 4.0);
            }
            Mark::Ideal => svg.path("ideal", &row, false),
            Mark::Line => svg.path("own", &row, false),
            Mark::Curve => svg.path("curve", &row, false),
            Mark::Bar => svg.rect("bar", whole),
            Mark::Other => svg.rect("other", whole),
            Mark::Spread => {
                svg.path("thin", &row, false);
                svg.rect("bar", [x + 4.0, y - 5.0, x + 15.0, y + 5.0]);
                svg.dot("hole", [x + 9.0, y], 2.5);
            }
            Mark::Frame => svg.rect("frame", [x + 3.0, y - 6.0, x + 17.0, y + 6.0]),
        }
    }

    /// The chart when there is nothing to draw: the reason, in words.
    pub(crate) fn nothing(mut self, because: &str) -> String {
        let words = format!("Nothing to draw: {because}.");
        let mut y = self.y + 2.0 * LINE;
        for line in lines(&words) {
            self.svg.text_in("", [MARGIN, y], &line);
            y += LINE;
        }
        self.finish_at(y + LINE, &words)
    }

    /// The document, `height` pixels high; `told` is what the chart shows, in words and numbers.
    pub(crate) fn finish_at(self, height: f64, told: &str) -> String {
        let description = format!("{}. {told}", self.about);
        let size = [WIDTH, height];
        self.svg.finish_chart(
            size,
            STYLE,
            &self.title,
            description.trim_start_matches(". "),
        )
    }
}

/// Words broken into lines of the sheet; what is too much ends in dots.
fn lines(words: &str) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in words.split_whitespace() {
        let word: String = word.chars().take(LETTERS).collect();
        let full = lines.last().map_or(0, |l| l.chars().count()) + 1 + word.chars().count();
        if full > LETTERS && lines.len() == ABOUT_LINES {
            if let Some(last) = lines.last_mut() {
                last.push('\u{2026}');
            }
            break;
        }
        match lines.last_mut() {
            Some(last) if last.is_empty() => *last = word,
            Some(last) if full <= LETTERS => *last = format!("{last} {word}"),
            _ => lines.push(word),
        }
    }
    lines
}
