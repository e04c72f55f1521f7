//! `[[layout]]` entries: how a file of readings is laid out.

use std::collections::BTreeMap;

use super::entries::each;
use super::reader::{Field, Table};
use crate::season::config::{Decimal, Encoding, Layout, LayoutColumn, Said};
use crate::season::error::Kind;

/// Fields of a reading that a layout can say.
const FIELDS: [&str; 12] = [
    "session", "antenna", "band", "meter", "quantity", "unit", "mounting", "when", "order", "readings", "sd", "battery",
];

/// Fields that a column of readings may have a column of their own for.
const BESIDE: [(&str, &str); 3] = [("readings_column", "readings"), ("sd_column", "sd"), ("unit_column", "unit")];

pub(super) fn layouts(top: &Table<'_>) -> Vec<Layout> {
    let keys = ["file", "sheet", "header_line", "decimal", "encoding", "rows", "all", "columns", "ignore"];
    let decimals = [(",", Decimal::Comma), (".", Decimal::Point)];
    let encodings = [("utf-8", Encoding::Utf8), ("utf-16", Encoding::Utf16), ("latin-1", Encoding::Latin1)];
    each(top, "layout", &keys, |table| {
        let file = table.need("file", "file = \"log.xlsx\"").and_then(|f| f.name());
        let sheet = table.get("sheet").and_then(|f| f.name());
        let header_line = table.get("header_line").and_then(|f| f.whole(1)).map(|line| line as usize);
        let decimal = table.get("decimal").and_then(|f| f.word(&decimals));
        let encoding = table.get("encoding").and_then(|f| f.word(&encodings));
        let mut says = BTreeMap::new();
        let rows = [FIELDS.as_slice(), &["value"]].concat();
        for (key, keys, said) in [("all", FIELDS.as_slice(), false), ("rows", rows.as_slice(), true)] {
            let wanted = if said {
                "a table, as in `{ antenna = \"Antenna\" }`"
            } else {
                "a table, as in `{ meter = \"inline\" }`"
            };
            let label = format!("`{key}` of [[layout]]");
            let Some(table) = table.get(key).and_then(|f| f.table(&label, wanted, keys)) else { continue };
            for (field, text) in fields(&table, &rows) {
                if says.insert(field, if said { Said::Column(text) } else { Said::Value(text) }).is_some() {
                    let what = format!("`{field}` is given both under `all` and under `rows`");
                    table.doc.report(table.span.clone(), Kind::Conflict, what, |p| p);
                }
            }
        }
        let list =
            table.get("columns").and_then(|f| f.list("a list, as in `[ { column = \"SWR\", quantity = \"swr\" } ]`"));
        let columns = list.unwrap_or_default().iter().filter_map(column).collect();
        let ignore = table.get("ignore").and_then(|f| f.list("a list of columns, as in `[\"Remarks\"]`"));
        let ignore = ignore.unwrap_or_default().iter().filter_map(Field::cell).collect();
        let line = table.line();
        Some(Layout { file: file?, sheet, header_line, decimal, encoding, says, columns, ignore, line })
    })
}

/// The fields a table says, each as the text of a cell.
fn fields(table: &Table<'_>, known: &[&'static str]) -> Vec<(&'static str, String)> {
    known.iter().filter_map(|field| Some((*field, table.get(field)?.cell()?))).collect()
}

fn column(field: &Field<'_>) -> Option<LayoutColumn> {
    let beside = BESIDE.map(|(key, _)| key);
    let keys = [&["column"], FIELDS.as_slice(), &beside].concat();
    let table = field.table("a column of [[layout]]", "`{ column = …, quantity = … }`", &keys)?;
    let column = table.need("column", "column = \"SWR 2 m\"").and_then(|f| f.cell());
    let mut says: BTreeMap<&'static str, Said> =
        fields(&table, &FIELDS).into_iter().map(|(field, text)| (field, Said::Value(text))).collect();
    for (key, field) in BESIDE {
        says.extend(table.get(key).and_then(|f| f.cell()).map(|name| (field, Said::Column(name))));
    }
    Some(LayoutColumn { column: column?, says })
}
