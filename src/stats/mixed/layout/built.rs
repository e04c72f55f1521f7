//! A structure built from mountings: cells and classes, kinds of visits, patterns of sessions, linked groups, strata.

use std::collections::BTreeMap;

use super::{Cell, Class, Data, Kind, Layout, MountingSummary, Pattern, Visit};
use crate::stats::mixed::levels::{LevelState, states};

impl Layout {
    /// Builds the structure and its data from the mountings of a set.
    ///
    /// Antennas are numbered 0..`antennas` and each must have a mounting; sessions may have any
    /// numbers. Returns `None` for an empty set, an antenna without a mounting, or a mounting whose
    /// `readings` is below 1.
    pub fn new(antennas: usize, mountings: &[MountingSummary]) -> Option<(Layout, Data)> {
        if mountings.is_empty() || mountings.iter().any(|m| m.readings < 1.0 || m.antenna >= antennas) {
            return None;
        }
        let total: f64 = mountings.iter().map(|m| m.readings).sum();
        let centre = mountings.iter().map(|m| m.readings * m.mean).sum::<f64>() / total;

        // session → antenna → readings a mounting → mountings; the key is n's bits, ordered since n > 0
        let mut tree: BTreeMap<usize, BTreeMap<usize, BTreeMap<u64, Vec<&MountingSummary>>>> = BTreeMap::new();
        for m in mountings {
            let visit = tree.entry(m.session).or_default().entry(m.antenna).or_default();
            visit.entry(m.readings.to_bits()).or_default().push(m);
        }
        let mut class_of: BTreeMap<u64, usize> = BTreeMap::new();
        for m in mountings {
            let next = class_of.len();
            class_of.entry(m.readings.to_bits()).or_insert(next);
        }
        let mut classes = vec![Class { readings: 0.0, df: 0.0 }; class_of.len()];
        for (&bits, &class) in &class_of {
            classes[class].readings = f64::from_bits(bits);
        }
        let mut class_ss = vec![0.0; classes.len()];
        let (mut sessions, mut visits, mut cells, mut cell_mean) = (vec![], vec![], vec![], vec![]);
        for antennas_in_session in tree.values() {
            let first_visit = visits.len();
            for (&antenna, by_readings) in antennas_in_session {
                let first_cell = cells.len();
                for (bits, members) in by_readings {
                    let k = members.len() as f64;
                    let mean = members.iter().map(|m| m.mean - centre).sum::<f64>() / k;
                    let class = class_of[bits];
                    classes[class].df += k - 1.0;
                    class_ss[class] += members.iter().map(|m| (m.mean - centre - mean).powi(2)).sum::<f64>();
                    cells.push(Cell::new(k, classes[class].readings, class));
                    cell_mean.push(mean);
                }
                visits.push(Visit { antenna, cells: first_cell..cells.len(), kind: usize::MAX });
            }
            sessions.push(first_visit..visits.len());
        }
        let mut layout = Layout {
            antennas,
            times: vec![1.0; sessions.len()],
            folds: vec![],
            sessions,
            visits,
            cells,
            classes,
            kinds: vec![],
            patterns: vec![],
            pattern_of: vec![],
            df_reading: mountings.iter().map(|m| m.df).sum(),
            criterion_constant: 0.0,
            mountings: mountings.len(),
            readings: total,
            groups: vec![],
            states: [LevelState::Unseen; 4],
            strata: [0.0; 4],
        };
        layout.groups = layout.linked_groups();
        if layout.groups.contains(&usize::MAX) {
            return None;
        }
        layout.sort_by_kind();
        layout.count_strata();
        layout.criterion_constant = layout.constant();
        let reading_ss = mountings.iter().map(|m| m.sum_of_squares).sum();
        let data = Data { cell_mean, class_ss, reading_ss, folds: vec![], centre };
        Some((layout, data))
    }

    /// Finds the kind of each visit, and the patterns of sessions.
    fn sort_by_kind(&mut self) {
        let mut known: BTreeMap<Vec<(u64, usize)>, usize> = BTreeMap::new();
        for visit in &mut self.visits {
            let cells = &self.cells[visit.cells.clone()];
            let next = known.len();
            let alike = cells.iter().map(|c| (c.mountings.to_bits(), c.class)).collect();
            visit.kind = *known.entry(alike).or_insert(next);
            if visit.kind == next {
                let readings = cells.iter().map(|c| c.mountings * self.classes[c.class].readings).sum();
                self.kinds.push(Kind { cells: visit.cells.clone(), readings, visits: 0.0 });
            }
            self.kinds[visit.kind].visits += 1.0;
        }
        let mut known: BTreeMap<Vec<(usize, usize)>, usize> = BTreeMap::new();
        for (session, visits) in self.sessions.iter().enumerate() {
            let next = known.len();
            let alike = self.visits[visits.clone()].iter().map(|v| (v.antenna, v.kind)).collect();
            let pattern = *known.entry(alike).or_insert(next);
            if pattern == next {
                self.patterns.push(Pattern { session, sessions: 0.0 });
            }
            self.patterns[pattern].sessions += 1.0;
            self.pattern_of.push(pattern);
        }
    }

    /// See [`Layout::criterion_constant`].
    pub(in crate::stats::mixed) fn constant(&self) -> f64 {
        let of_cell = |cell: &Cell| {
            let n = self.classes[cell.class].readings;
            cell.mountings * n.ln() + cell.mountings.ln()
        };
        let of_kinds = |of_cell: &dyn Fn(&Cell) -> f64| -> f64 {
            let of_kind = |kind: &Kind| kind.visits * self.cells[kind.cells.clone()].iter().map(of_cell).sum::<f64>();
            self.kinds.iter().map(of_kind).sum()
        };
        let seen = self.df_reading + of_kinds(&|cell| cell.mountings);
        (seen - self.antennas as f64) * std::f64::consts::TAU.ln() + of_kinds(&of_cell)
    }

    /// The group of each antenna: two antennas are in one group if a chain of sessions joins them.
    /// An antenna in no session gets `usize::MAX`.
    fn linked_groups(&self) -> Vec<usize> {
        let mut group: Vec<usize> = (0..self.antennas).collect();
        fn root(group: &mut [usize], mut a: usize) -> usize {
            while group[a] != a {
                group[a] = group[group[a]];
                a = group[a];
            }
            a
        }
        let mut present = vec![false; self.antennas];
        for session in &self.sessions {
            let first = self.visits[session.start].antenna;
            for visit in &self.visits[session.clone()] {
                present[visit.antenna] = true;
                let (r, s) = (root(&mut group, first), root(&mut group, visit.antenna));
                group[r.max(s)] = r.min(s);
            }
        }
        (0..self.antennas).map(|a| if present[a] { root(&mut group, a) } else { usize::MAX }).collect()
    }

    /// Degrees of freedom of each stratum, fitted in the order antenna, session, visit, mounting,
    /// reading, and from them what the log shows of each level.
    fn count_strata(&mut self) {
        let sessions = self.sessions.len() as f64;
        let visits = self.visits.len() as f64;
        let mut groups = self.groups.clone();
        groups.sort_unstable();
        groups.dedup();
        let linked = groups.len() as f64;
        let df_session = sessions - linked;
        let df_visit = visits - sessions - self.antennas as f64 + linked;
        let df_mounting = self.mountings as f64 - visits;
        let df_reading = self.df_reading;
        self.strata = [df_session, df_visit, df_mounting, df_reading];

        let single = self.classes.iter().all(|c| c.readings == 1.0);
        self.states = states(self.strata, single);
    }
}
