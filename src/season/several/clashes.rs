//! What several `season.toml` declare → one, and what is said where they disagree.

use super::{FAR, Part, said};
use crate::season::config::{Antenna, Band, Config, Load, Meter, Repeats, Source};
use crate::season::error::{InputError, Kind, Problem};
use crate::season::finding::{Finding, Place, Severity};
use crate::season::parse;
use crate::season::readings::folded;

/// What is gathered while seasons are put together.
struct Merge<'a> {
    parts: &'a [Part],
    problems: Vec<Problem>,
    findings: &'a mut Vec<Finding>,
}

/// One configuration of all.
///
/// # Errors
/// Every declaration that cannot hold in both of two seasons.
pub fn merged(parts: &[Part], findings: &mut Vec<Finding>) -> Result<Config, InputError> {
    let mut merge = Merge { parts, problems: vec![], findings };
    let mut all = Config::default();
    for (at, part) in parts.iter().enumerate() {
        let own = part.season.config.clone();
        if at == 0 {
            all = own;
        } else {
            merge.take_in(&mut all, own, at);
        }
    }
    merge.spellings(&all);
    if merge.problems.is_empty() { Ok(all) } else { Err(merge.problems.into()) }
}

impl Merge<'_> {
    fn file(&self, line: usize) -> String {
        let at = (line / FAR).min(self.parts.len() - 1);
        format!("{}/{}", self.parts[at].folder, parse::FILE)
    }

    fn place(&self, line: usize) -> Place {
        Place { file: self.file(line), line: (!line.is_multiple_of(FAR)).then_some(line % FAR), column: None }
    }

    /// What can't hold in both: said of the later one, naming the earlier.
    fn clash(&mut self, line: usize, earlier: usize, what: &str, hint: &str) {
        let what = format!("{what} ({})", self.place(earlier));
        self.problems.push(Problem::new(Kind::Conflict, self.place(line).to_string(), what).advise(hint));
    }

    /// What is settled, but has to be known.
    fn note(&mut self, severity: Severity, line: usize, earlier: usize, what: &str, action: &str) {
        let mut finding = said(severity, self.place(line), what.to_string(), action);
        finding.others.push(self.place(earlier));
        self.findings.push(finding);
    }

    fn take_in(&mut self, all: &mut Config, own: Config, at: usize) {
        let (line, first) = (at * FAR, 0);
        match (&all.reference, &own.reference) {
            (Some(a), Some(b)) if a != b => {
                let what = format!("the reference antenna is `{b}` here and `{a}` there");
                let action = "the first counts; name one that both seasons measure in every session";
                self.note(Severity::Warning, line, first, &what, action);
            }
            _ => all.reference = all.reference.take().or(own.reference),
        }
        if all.region != own.region {
            let what = "the two seasons state different regions, or one states none";
            self.note(Severity::Note, line, first, what, "the widest of the published limits hold");
            all.region = None;
        }
        if all.confidence != own.confidence {
            let what = format!("the confidence is {} here and {} there", own.confidence, all.confidence);
            self.note(Severity::Warning, line, first, &what, "the higher holds; `--confidence` says otherwise");
            all.confidence = all.confidence.max(own.confidence);
        }
        if all.looks != own.looks {
            let what = "the two seasons plan another number of looks, or one plans none";
            self.note(Severity::Warning, line, first, what, "the larger number holds: each look is stricter by it");
            all.looks = all.looks.max(own.looks);
        }
        if all.effort != own.effort {
            let what = "what measuring costs is stated otherwise there";
            self.note(Severity::Note, line, first, what, "the first season's minutes hold");
        }
        // rows without a mounting number keep what their own season means by them: they are numbered as they come in
        if all.repeats != own.repeats {
            all.repeats = Repeats::Remounted;
        }
        for band in own.bands {
            match all.bands.iter().position(|b| b.name == band.name) {
                Some(i) => self.band(&mut all.bands[i], band),
                None => all.bands.push(band),
            }
        }
        for meter in own.meters {
            match all.meters.iter().position(|m| m.name == meter.name) {
                Some(i) => self.meter(&mut all.meters[i], meter),
                None => all.meters.push(meter),
            }
        }
        for antenna in own.antennas {
            if let Some(load) = all.loads.iter().find(|l| l.name == antenna.name) {
                let what = format!("`{}` is an antenna here and a check load there", antenna.name);
                self.clash(antenna.line, load.line, &what, "give one of them another name");
            }
            match all.antennas.iter().position(|a| a.name == antenna.name) {
                Some(i) => self.antenna(&mut all.antennas[i], antenna),
                None => all.antennas.push(antenna),
            }
        }
        for load in own.loads {
            if let Some(antenna) = all.antennas.iter().find(|a| a.name == load.name) {
                let what = format!("`{}` is a check load here and an antenna there", load.name);
                self.clash(load.line, antenna.line, &what, "give one of them another name");
            }
            match all.loads.iter().position(|l| l.name == load.name) {
                Some(i) => self.load(&mut all.loads[i], load),
                None => all.loads.push(load),
            }
        }
        for quantity in own.quantities {
            match all.quantities.iter().find(|q| q.name == quantity.name) {
                Some(same) if *same == quantity => {}
                Some(same) => {
                    let what = format!(
                        "quantity `{}` is in {} on another scale, or better at another end, than there (in {})",
                        quantity.name, quantity.unit, same.unit
                    );
                    self.clash(line, first, &what, "declare it alike in both, or name one of them otherwise");
                }
                None => all.quantities.push(quantity),
            }
        }
        for source in own.sources {
            self.source(&mut all.sources, source);
        }
        for (quantity, size) in own.matters {
            let known = all.matters.entry(quantity.clone()).or_insert(size);
            if *known != size {
                let what = format!("what matters of `{quantity}` is {size} here and {known} there");
                *known = known.min(size);
                self.note(Severity::Warning, line, first, &what, "the smaller holds: fewer pairs are even by it");
            }
        }
        if !own.weights.is_empty() && !all.weights.is_empty() && own.weights != all.weights {
            let what = "the weights differ from those there";
            self.note(Severity::Warning, line, first, what, "the first season's hold; give both the same");
        } else if all.weights.is_empty() {
            all.weights = own.weights;
        }
        all.leave_out.extend(own.leave_out);
        all.sweeps.extend(own.sweeps);
        all.layouts.extend(own.layouts);
    }

    fn band(&mut self, known: &mut Band, own: Band) {
        if let (Some(a), Some(b)) = (known.frequency_mhz, own.frequency_mhz)
            && a != b
        {
            let what = format!("band `{}` is at {b} MHz here and at {a} MHz there", own.name);
            self.clash(own.line, known.line, &what, "readings at two frequencies are no repeats; name the bands apart");
        }
        if let (Some(a), Some(b)) = (known.channel, own.channel)
            && a != b
        {
            let what = format!("band `{}` is channel {b} here and channel {a} there", own.name);
            self.clash(own.line, known.line, &what, "readings on two channels are no repeats; name the bands apart");
        }
        known.frequency_mhz = known.frequency_mhz.or(own.frequency_mhz);
        known.channel = known.channel.or(own.channel);
    }

    fn meter(&mut self, known: &mut Meter, own: Meter) {
        let apart = "if they are two meters, name them apart; if it is one, declare it alike in both";
        if known.kind.is_some() && own.kind.is_some() && known.kind != own.kind {
            let what = format!("meter `{}` is of one kind here and of another there", own.name);
            self.clash(own.line, known.line, &what, apart);
        }
        known.kind = known.kind.or(own.kind);
        for (quantity, size) in own.resolution {
            let held = known.resolution.entry(quantity.clone()).or_insert(size);
            if *held != size {
                let what = format!("meter `{}` shows `{quantity}` to {size} here and to {held} there", own.name);
                *held = held.max(size);
                self.note(
                    Severity::Warning,
                    own.line,
                    known.line,
                    &what,
                    "the coarser holds; declare it alike in both",
                );
            }
        }
        if let (Some(a), Some(b)) = (known.directivity_db, own.directivity_db)
            && a != b
        {
            let what = format!("meter `{}` has a directivity of {b} dB here and of {a} dB there", own.name);
            self.note(Severity::Warning, own.line, known.line, &what, "the poorer holds; declare it alike in both");
        }
        let poorer = [known.directivity_db, own.directivity_db].into_iter().flatten().reduce(f64::min);
        known.directivity_db = poorer;
        for (band, loss) in own.line_loss_db {
            match known.line_loss_db.get(&band) {
                Some(held) if *held != loss => {
                    let what =
                        format!("meter `{}` has {loss} dB of line on `{band}` here and {held} dB there", own.name);
                    self.clash(
                        own.line,
                        known.line,
                        &what,
                        "one correction can't serve both; name the two set-ups apart",
                    );
                }
                Some(_) => {}
                None => {
                    known.line_loss_db.insert(band, loss);
                }
            }
        }
        if known.correct != own.correct {
            let what = format!("meter `{}` is to be corrected in one season and not in the other", own.name);
            self.note(
                Severity::Warning,
                own.line,
                known.line,
                &what,
                "it is not corrected; say `correct` alike in both",
            );
            known.correct = false;
        }
    }

    fn antenna(&mut self, known: &mut Antenna, own: Antenna) {
        if let (Some(a), Some(b)) = (known.length_mm, own.length_mm)
            && a != b
        {
            let what = format!("antenna `{}` is {b} mm long here and {a} mm there", own.name);
            self.note(Severity::Warning, own.line, known.line, &what, "taken as one; name them apart if they are two");
        }
        if let (Some(a), Some(b)) = (known.price, own.price)
            && a != b
        {
            let what = format!("antenna `{}` has a price of {b} here and of {a} there", own.name);
            self.note(Severity::Note, own.line, known.line, &what, "the later season's price holds");
        }
        known.price = own.price.or(known.price);
        known.length_mm = known.length_mm.or(own.length_mm);
        for (band, gain) in own.gain_dbi {
            match known.gain_dbi.get(&band) {
                Some(held) if *held != gain => {
                    let what = format!("antenna `{}` has one known gain on `{band}` here and another there", own.name);
                    self.clash(own.line, known.line, &what, "leave the one you trust, or name the antennas apart");
                }
                Some(_) => {}
                None => {
                    known.gain_dbi.insert(band, gain);
                }
            }
        }
        for claim in own.claims {
            let alike = |c: &crate::season::config::Claim| {
                crate::season::config::Claim { line: claim.line, ..c.clone() } == claim
            };
            if !known.claims.iter().any(alike) {
                known.claims.push(claim);
            }
        }
    }

    fn load(&mut self, known: &mut Load, own: Load) {
        if known.resistance_ohm != own.resistance_ohm {
            let (a, b) = (known.resistance_ohm, own.resistance_ohm);
            let what = format!("check load `{}` is {b} ohm here and {a} ohm there", own.name);
            self.clash(own.line, known.line, &what, "name the loads apart");
        }
        if known.tolerance_percent != own.tolerance_percent {
            let what = format!("check load `{}` has one tolerance here and another, or none, there", own.name);
            self.note(Severity::Note, own.line, known.line, &what, "the wider holds");
        }
        known.tolerance_percent =
            [known.tolerance_percent, own.tolerance_percent].into_iter().flatten().reduce(f64::max);
    }

    /// One source declared in both is one; of two sizes the larger holds.
    fn source(&mut self, all: &mut Vec<Source>, own: Source) {
        let alike = |s: &&mut Source| {
            (&s.name, &s.quantity, &s.meter, &s.band, &s.unit, s.shared_by)
                == (&own.name, &own.quantity, &own.meter, &own.band, &own.unit, own.shared_by)
        };
        let Some(known) = all.iter_mut().find(alike) else {
            all.push(own);
            return;
        };
        if known.shape == own.shape {
            return;
        }
        let what = format!("source `{}` has one size or shape here and another there", own.name);
        let (line, earlier) = (own.line, known.line);
        if own.shape.standard() > known.shape.standard() {
            *known = own;
        }
        self.note(Severity::Warning, line, earlier, &what, "the larger holds for all; declare it alike in both");
    }

    /// Names of one kind that differ in spelling alone, in two seasons.
    fn spellings(&mut self, all: &Config) {
        let antennas = all.antennas.iter().map(|a| (a.name.as_str(), a.line));
        let kinds: [(&str, Vec<(&str, usize)>); 3] = [
            ("antenna", antennas.chain(all.loads.iter().map(|l| (l.name.as_str(), l.line))).collect()),
            ("band", all.bands.iter().map(|b| (b.name.as_str(), b.line)).collect()),
            ("meter", all.meters.iter().map(|m| (m.name.as_str(), m.line)).collect()),
        ];
        for (kind, names) in kinds {
            for (i, (name, line)) in names.iter().enumerate() {
                let same = names[..i].iter().find(|(other, _)| folded(other) == folded(name));
                if let Some((other, earlier)) = same.filter(|(_, earlier)| earlier / FAR != line / FAR) {
                    let what =
                        format!("{kind} `{name}` here and `{other}` there differ only in case, spaces or accents");
                    let action = format!("taken as two; write one name in both if one {kind} is meant");
                    self.note(Severity::Warning, *line, *earlier, &what, &action);
                }
            }
        }
    }
}
