//! `[[correlation]]`: which inputs go together, checked for being possible all at once.

use super::super::config::Group;
use super::inputs::ReadInput;
use crate::montecarlo::distribution::Distribution;
use crate::montecarlo::joint::{Factor, possible};
use crate::season::error::Kind;
use crate::season::parse::nearest::{list, nearest};
use crate::season::parse::reader::Table;

const KEYS: [&str; 4] = ["between", "coefficient", "from", "note"];

/// The correlation matrix of all inputs, and the groups it ties together.
pub(super) fn correlations(top: &Table<'_>, inputs: &[ReadInput]) -> (Vec<f64>, Vec<Group>) {
    let n = inputs.len();
    let mut matrix: Vec<f64> = (0..n * n).map(|k| f64::from(u8::from(k / n == k % n))).collect();
    let tables = top.get("correlation").map(|field| field.entries(&KEYS)).unwrap_or_default();
    let mut given: Vec<(usize, usize)> = vec![];
    for table in &tables {
        table.get("note").and_then(|f| f.text());
        let Some((i, j, r)) = correlation(table, inputs) else { continue };
        if given.contains(&(i.min(j), i.max(j))) {
            let what =
                format!("the correlation of `{}` and `{}` is given twice", inputs[i].input.name, inputs[j].input.name);
            table.doc.report(table.span.clone(), Kind::DuplicateName, what, |p| p.advise("keep one"));
        }
        given.push((i.min(j), i.max(j)));
        (matrix[i * n + j], matrix[j * n + i]) = (r, r);
    }
    let mut groups = vec![];
    for members in tied(n, &given) {
        let size = members.len();
        let part: Vec<f64> =
            members.iter().flat_map(|&i| members.iter().map(move |&j| i * n + j)).map(|k| matrix[k]).collect();
        let Some(factor) = Factor::new(size, &part) else {
            impossible(&tables, inputs, &members, &part);
            continue;
        };
        let df = match inputs[members[0]].input.distribution {
            Distribution::StudentT { df, .. } => Some(df),
            _ => None,
        };
        groups.push(Group { inputs: members, factor, df });
    }
    (matrix, groups)
}

/// The inputs of one entry and their correlation.
fn correlation(table: &Table<'_>, inputs: &[ReadInput]) -> Option<(usize, usize, f64)> {
    let between = table.need("between", "between = [\"a\", \"b\"]")?;
    let names = between.list("a list of two inputs' names")?;
    if names.len() != 2 {
        let what = format!("`between` names {} inputs", names.len());
        table.doc.report(between.span(), Kind::OutOfRange, what, |p| {
            p.want("two").advise("give each pair an entry of its own")
        });
        return None;
    }
    let known = || inputs.iter().map(|read| read.input.name.as_str());
    let mut found = vec![];
    for field in &names {
        let name = field.name()?;
        match inputs.iter().position(|read| read.input.name == name) {
            Some(i) => found.push(i),
            None => table.doc.report(
                field.span(),
                Kind::UnknownName,
                format!("`{name}` is not an input of this budget"),
                |p| match nearest(&name, known()) {
                    Some(near) => p.advise(format!("did you mean `{near}`?")),
                    None => p.want(list(known())),
                },
            ),
        }
    }
    let &[i, j] = found.as_slice() else { return None };
    if i == j {
        table.doc.report(between.span(), Kind::Conflict, "an input goes with itself always", |p| {
            p.advise("name two different inputs")
        });
        return None;
    }
    let r = match (table.get("coefficient"), table.get("from")) {
        (Some(_), Some(from)) => {
            table.doc.report(from.span(), Kind::Conflict, "the correlation is both given and to be found", |p| {
                p.advise("keep one")
            });
            None
        }
        (None, Some(from)) => {
            from.word(&[("readings", ())])?;
            of_readings(table, &inputs[i], &inputs[j])
        }
        _ => table
            .need("coefficient", "coefficient = 0.8")
            .and_then(|f| f.number("a number from −1 to 1", |r| (-1.0..=1.0).contains(&r))),
    };
    fit_together(table, &inputs[i], &inputs[j])?;
    Some((i, j, r?))
}

/// Only the normal, and the t of equal degrees of freedom, are known as joint distributions.
fn fit_together(table: &Table<'_>, a: &ReadInput, b: &ReadInput) -> Option<()> {
    use Distribution::{Normal, StudentT};
    match (a.input.distribution, b.input.distribution) {
        (Normal { .. }, Normal { .. }) => return Some(()),
        (StudentT { df: one, .. }, StudentT { df: two, .. }) if one == two => return Some(()),
        _ => {}
    }
    let what = format!(
        "`{}` ({}) and `{}` ({}) can't be tied by a correlation: both must be normal, or both t with the same degrees of freedom",
        a.input.name, a.input.shape, b.input.name, b.input.shape
    );
    let hint = "make what they share an input of its own, and write it into the expression in both places";
    table.doc.report(table.span.clone(), Kind::Conflict, what, |p| p.advise(hint));
    None
}

/// The correlation of two columns of readings taken together (JCGM 100, 5.2.3).
fn of_readings(table: &Table<'_>, a: &ReadInput, b: &ReadInput) -> Option<f64> {
    let (Some(x), Some(y)) = (&a.readings, &b.readings) else {
        let what = format!("`{}` and `{}` are not both given by readings", a.input.name, b.input.name);
        table.doc.report(table.span.clone(), Kind::Conflict, what, |p| {
            p.advise("give the correlation as `coefficient = …`")
        });
        return None;
    };
    if x.len() != y.len() {
        let what = format!(
            "`{}` has {} readings and `{}` {}, so they were not taken in pairs",
            a.input.name,
            x.len(),
            b.input.name,
            y.len()
        );
        table.doc.report(table.span.clone(), Kind::Conflict, what, |p| {
            p.advise("the readings of both, in the same order, one pair a time")
        });
        return None;
    }
    let n = x.len() as f64;
    let (mx, my) = (x.iter().sum::<f64>() / n, y.iter().sum::<f64>() / n);
    let products: f64 = x.iter().zip(y).map(|(x, y)| (x - mx) * (y - my)).sum();
    let (sx, sy): (f64, f64) = (x.iter().map(|x| (x - mx).powi(2)).sum(), y.iter().map(|y| (y - my).powi(2)).sum());
    let r = products / (sx * sy).sqrt();
    r.is_finite().then_some(r.clamp(-1.0, 1.0))
}

/// Inputs tied to each other directly or through others, rising; none for what is tied to nothing.
fn tied(n: usize, pairs: &[(usize, usize)]) -> Vec<Vec<usize>> {
    let mut group: Vec<usize> = (0..n).collect();
    for &(i, j) in pairs {
        let (from, to) = (group[i].max(group[j]), group[i].min(group[j]));
        group.iter_mut().filter(|g| **g == from).for_each(|g| *g = to);
    }
    (0..n).map(|g| (0..n).filter(|i| group[*i] == g).collect::<Vec<_>>()).filter(|members| members.len() > 1).collect()
}

/// Reports correlations that can't all hold.
fn impossible(tables: &[Table<'_>], inputs: &[ReadInput], members: &[usize], part: &[f64]) {
    let names = list(members.iter().map(|i| inputs[*i].input.name.as_str())).replace(" or ", " and ");
    let Some(last) = tables.last() else { return };
    let size = members.len();
    let least = nalgebra::DMatrix::from_row_slice(size, size, part).symmetric_eigenvalues().min();
    let what = format!(
        "the correlations of {names} can't all hold at once: their matrix has an eigenvalue of {least:.3}, below 0"
    );
    let hint = if size == 3 {
        let (low, high) = possible(part[2], part[5]);
        format!(
            "with the other two, that of `{}` and `{}` must lie from {low:.3} to {high:.3}",
            inputs[members[0]].input.name, inputs[members[1]].input.name
        )
    } else {
        "pairs left out count as 0: give those too, from the same readings".to_string()
    };
    last.doc.report(last.span.clone(), Kind::Conflict, what, |p| p.advise(hint));
}
