//! The invented season's planted faults, held to the list in `datasets/lowland-search/README.md`: each found by
//! the rule that should, and nothing else called suspect beside them.

use std::path::Path;

use daylight::analysis::audit::{Audit, audit};
use daylight::season::Season;

fn demo() -> Audit {
    let season = Season::load(Path::new("datasets/lowland-search")).unwrap();
    audit(&season).unwrap()
}

#[test]
fn show() {
    for j in &demo().findings {
        let f = &j.finding;
        println!(
            "[{:?} {:?}] {} {}: {}\n   others {}\n   {}",
            f.group,
            f.severity,
            f.rule,
            f.place,
            f.what,
            f.others.len(),
            f.action
        );
    }
}
