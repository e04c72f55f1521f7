//! The option line and the keywords: what the numbers mean.

use nalgebra::Complex;

use super::Fault;
use super::data::{number, shortened};
use super::lines::Line;
use crate::radio::feasible::Z0;

/// How many lines of comments are kept, and how much of each: a file may hold nothing else.
const KEPT: (usize, usize) = (200, 200);

/// Which edition of the format a file is in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Version {
    /// 1.0 or 1.1: it says nothing of its version.
    #[default]
    One,
    /// 2.0 or 2.1.
    Two,
}

/// The unit of the frequencies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// Hz.
    Hertz,
    /// kHz.
    Kilohertz,
    /// MHz.
    Megahertz,
    /// GHz, where none is written.
    Gigahertz,
}

impl Unit {
    /// One of it, Hz.
    pub fn in_hertz(self) -> f64 {
        match self {
            Unit::Hertz => 1.0,
            Unit::Kilohertz => 1e3,
            Unit::Megahertz => 1e6,
            Unit::Gigahertz => 1e9,
        }
    }

    /// Its symbol.
    pub fn name(self) -> &'static str {
        match self {
            Unit::Hertz => "Hz",
            Unit::Kilohertz => "kHz",
            Unit::Megahertz => "MHz",
            Unit::Gigahertz => "GHz",
        }
    }
}

/// What a pair of numbers is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Parameter {
    /// S.
    Reflection,
    /// Z.
    Impedance,
    /// Y.
    Admittance,
}

/// How a complex number is written as a pair.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// Magnitude and angle in degrees.
    MagnitudeAngle,
    /// 20·log10 of the magnitude, and angle in degrees.
    DecibelAngle,
    /// Real and imaginary part.
    RealImaginary,
}

impl Format {
    /// The number that a pair stands for.
    pub fn complex(self, a: f64, b: f64) -> Complex<f64> {
        match self {
            Format::MagnitudeAngle => Complex::from_polar(a, b.to_radians()),
            Format::DecibelAngle => Complex::from_polar(10f64.powf(a / 20.0), b.to_radians()),
            Format::RealImaginary => Complex::new(a, b),
        }
    }
}

/// Where a file of version 2 stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum Stage {
    #[default]
    Head,
    Information,
    /// `[Reference]` was read, its number not yet.
    Reference,
    Data,
    End,
}

/// What was read before the data, and what the keywords after it say.
#[derive(Debug, Default)]
pub struct Header {
    version: Option<(Version, f64)>,
    options: Option<Options>,
    ports: Option<f64>,
    frequencies: Option<(f64, usize)>,
    reference: Option<f64>,
    stage: Stage,
    after_end: bool,
    /// Comments and the information block.
    pub comments: Vec<String>,
    /// What is odd, but stops nothing.
    pub oddities: Vec<Fault>,
}

/// What the option line says.
#[derive(Debug, Clone, Copy)]
struct Options {
    unit: Unit,
    parameter: Parameter,
    format: Format,
    reference: f64,
    line: usize,
}

impl Header {
    /// Takes a line that is not data; says whether it did.
    pub fn takes(&mut self, line: &Line<'_>) -> Result<bool, Fault> {
        self.comment(line.comment);
        if line.text.is_empty() {
            return Ok(true);
        }
        if self.stage == Stage::End {
            if !self.after_end {
                self.after_end = true;
                self.odd(line.number, "something stands after `[End]`", "what follows is not read");
            }
            return Ok(true);
        }
        if let Some(keyword) = line.text.strip_prefix('[') {
            return self.keyword(keyword, line.number).map(|()| true);
        }
        match self.stage {
            Stage::Information => self.comment(line.text),
            Stage::Reference => self.references(line.text, line.number)?,
            _ if line.text.starts_with('#') => self.option_line(line)?,
            _ => return Ok(false),
        }
        Ok(true)
    }

    /// Whether data may come now.
    pub fn ready_for_data(&self, line: usize) -> Result<(), Fault> {
        if self.options.is_none() {
            let what = "data before any option line: unit, parameter and format are not known";
            return Err(Fault::new(
                line,
                what,
                "put a line such as `# MHz S RI R 50` before the data, as the analyzer meant",
            ));
        }
        if self.version() == Version::Two && self.stage != Stage::Data {
            return Err(Fault::new(line, "data before `[Network Data]`", "save the sweep again, or add that line"));
        }
        Ok(())
    }

    /// Holds what was announced against what was there.
    pub fn finished(&mut self, rows: usize, last: usize) -> Result<(), Fault> {
        if let Some((announced, line)) = self.frequencies.filter(|(n, _)| *n != rows as f64) {
            let what = format!("{announced} frequencies are announced, and {rows} are there");
            return Err(Fault::new(line, what, "the file may be cut short; save the sweep again"));
        }
        if self.version() == Version::Two {
            if self.ports.is_none() {
                return Err(Fault::new(last, "`[Number of Ports]` is missing", "add `[Number of Ports] 1`"));
            }
            if self.frequencies.is_none() {
                self.odd(last, "`[Number of Frequencies]` is missing", "read as it stands; a cut file would go unseen");
            }
            if self.stage != Stage::End {
                self.odd(last, "`[End]` is missing", "read as it stands; the file may be cut short");
            }
        }
        Ok(())
    }

    /// The edition.
    pub fn version(&self) -> Version {
        self.version.map_or(Version::One, |(version, _)| version)
    }

    /// The unit of the frequencies.
    pub fn unit(&self) -> Unit {
        self.options.map_or(Unit::Gigahertz, |o| o.unit)
    }

    /// What a pair of numbers is.
    pub fn parameter(&self) -> Parameter {
        self.options.map_or(Parameter::Reflection, |o| o.parameter)
    }

    /// How it is written.
    pub fn format(&self) -> Format {
        self.options.map_or(Format::MagnitudeAngle, |o| o.format)
    }

    /// Whether the second number of a pair is an angle.
    pub fn has_angle(&self) -> bool {
        self.format() != Format::RealImaginary
    }

    /// The reference resistance, Ω: `[Reference]` before the option line's.
    pub fn reference(&self) -> f64 {
        self.reference.or(self.options.map(|o| o.reference)).unwrap_or(Z0)
    }

    fn comment(&mut self, text: &str) {
        if !text.is_empty() && self.comments.len() < KEPT.0 {
            self.comments.push(text.chars().take(KEPT.1).collect());
        }
    }

    fn odd(&mut self, line: usize, what: &str, action: &str) {
        self.oddities.push(Fault::new(line, what, action));
    }

    fn option_line(&mut self, line: &Line<'_>) -> Result<(), Fault> {
        if let Some(first) = self.options {
            let what = format!("a second option line; the first is on line {}", first.line);
            self.odd(line.number, &what, "the first alone counts, as the format has it");
            return Ok(());
        }
        self.options = Some(options(line)?);
        Ok(())
    }

    fn keyword(&mut self, text: &str, line: usize) -> Result<(), Fault> {
        let Some((name, argument)) = text.split_once(']') else {
            let what = format!("the keyword `[{}` has no closing bracket", shortened(text));
            return Err(Fault::new(line, what, "save the sweep again"));
        };
        let plain = name.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase();
        let argument = argument.trim();
        if self.stage == Stage::Information && plain != "end information" {
            self.comment(text);
            return Ok(());
        }
        if self.stage == Stage::Reference {
            return Err(Fault::new(line, "`[Reference]` has no number", "write `[Reference] 50.0`"));
        }
        if self.version.is_none() && plain != "version" {
            let what = format!("keyword `[{}]` in a file that does not begin with `[Version]`", shortened(name));
            return Err(Fault::new(line, what, "keywords belong to version 2; begin the file with `[Version] 2.0`"));
        }
        match plain.as_str() {
            "version" => self.set_version(argument, line)?,
            "number of ports" => {
                let ports = number(argument, line)?;
                if ports != 1.0 {
                    let what = format!("a file of {ports} ports, where an antenna is one");
                    return Err(Fault::new(line, what, "save the antenna's port alone, as a one-port"));
                }
                self.ports = Some(ports);
            }
            "number of frequencies" => self.frequencies = Some((number(argument, line)?, line)),
            "reference" if argument.is_empty() => self.stage = Stage::Reference,
            "reference" => self.references(argument, line)?,
            "begin information" => self.stage = Stage::Information,
            "end information" => self.stage = Stage::Head,
            // a one-port's matrix is one number, whatever its layout
            "matrix format" | "mixed-mode order" => {}
            "network data" => {
                if self.options.is_none() {
                    let what = "`[Network Data]` before any option line";
                    return Err(Fault::new(line, what, "put a line such as `# MHz S RI` after `[Version]`"));
                }
                self.stage = Stage::Data;
            }
            "two-port data order" | "two-port order" | "number of noise frequencies" | "noise data" => {
                let what = format!("`[{}]` belongs to a two-port", shortened(name));
                return Err(Fault::new(line, what, "save the antenna's port alone, as a one-port"));
            }
            "end" => self.stage = Stage::End,
            _ => {
                let what = format!("`[{}]` is no keyword of this format", shortened(name));
                return Err(Fault::new(line, what, "what it changes is not known; remove it if it changes nothing"));
            }
        }
        Ok(())
    }

    fn set_version(&mut self, argument: &str, line: usize) -> Result<(), Fault> {
        let version = number(argument, line)?;
        if self.version.is_some() || self.options.is_some() {
            return Err(Fault::new(line, "`[Version]` is not the first thing said", "it stands once, at the top"));
        }
        if version != 2.0 && version != 2.1 {
            let what =
                format!("version {version} of the format, where 1.x (which has no such line), 2.0 and 2.1 are read");
            return Err(Fault::new(line, what, "save the sweep as version 1 or 2"));
        }
        self.version = Some((Version::Two, version));
        Ok(())
    }

    fn references(&mut self, text: &str, line: usize) -> Result<(), Fault> {
        let values = text.split_whitespace().map(|cell| number(cell, line)).collect::<Result<Vec<_>, _>>()?;
        self.reference = Some(one_reference(&values, line)?);
        self.stage = Stage::Head;
        Ok(())
    }
}

/// The one reference resistance a one-port has.
fn one_reference(values: &[f64], line: usize) -> Result<f64, Fault> {
    match values {
        &[ohm] if ohm > 0.0 && ohm < 1e9 => Ok(ohm),
        [ohm] => Err(Fault::new(line, format!("a reference resistance of {ohm} ohm"), "write one above 0, such as 50")),
        _ => {
            let what = format!("{} reference resistances, where a one-port has one", values.len());
            Err(Fault::new(line, what, "save the antenna's port alone, as a one-port"))
        }
    }
}

/// The option line: its items in any order, each once.
fn options(line: &Line<'_>) -> Result<Options, Fault> {
    let (mut unit, mut parameter, mut format, mut reference) = (None, None, None, None);
    let words: Vec<String> = line.text.trim_start_matches('#').split_whitespace().map(str::to_lowercase).collect();
    let mut at = 0;
    while at < words.len() {
        let word = words[at].as_str();
        at += 1;
        let twice = match word {
            "hz" => unit.replace(Unit::Hertz).is_some(),
            "khz" => unit.replace(Unit::Kilohertz).is_some(),
            "mhz" => unit.replace(Unit::Megahertz).is_some(),
            "ghz" => unit.replace(Unit::Gigahertz).is_some(),
            "s" => parameter.replace(Parameter::Reflection).is_some(),
            "z" => parameter.replace(Parameter::Impedance).is_some(),
            "y" => parameter.replace(Parameter::Admittance).is_some(),
            "ma" => format.replace(Format::MagnitudeAngle).is_some(),
            "db" => format.replace(Format::DecibelAngle).is_some(),
            "ri" => format.replace(Format::RealImaginary).is_some(),
            "g" | "h" => {
                let what = format!("{}-parameters belong to a two-port", word.to_uppercase());
                return Err(Fault::new(line.number, what, "save the antenna's port alone, as S-parameters"));
            }
            "r" => {
                let values: Vec<f64> = words[at..].iter().map_while(|w| number(w, line.number).ok()).collect();
                at += values.len();
                if values.is_empty() {
                    return Err(Fault::new(line.number, "`R` has no number after it", "write `R 50`"));
                }
                reference.replace(one_reference(&values, line.number)?).is_some()
            }
            _ => {
                let what = format!("`{}` has no meaning on the option line", shortened(word));
                return Err(Fault::new(
                    line.number,
                    what,
                    "it holds a unit, S, Y or Z, then MA, DB or RI, then `R 50`",
                ));
            }
        };
        if twice {
            let what = format!("the option line says `{word}` where it has said the like before");
            return Err(Fault::new(line.number, what, "leave the one that is meant"));
        }
    }
    Ok(Options {
        unit: unit.unwrap_or(Unit::Gigahertz),
        parameter: parameter.unwrap_or(Parameter::Reflection),
        format: format.unwrap_or(Format::MagnitudeAngle),
        reference: reference.unwrap_or(Z0),
        line: line.number,
    })
}
