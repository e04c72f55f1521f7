//! The invented season's planted faults, held to the list in `datasets/lowland-search/README.md`: each found by
//! the rule that should, at its lines, and nothing else called suspect or impossible beside them.

use std::path::Path;

use daylight::analysis::audit::audit;
use daylight::season::Season;
use daylight::season::finding::{Finding, Group, Severity};

fn demo() -> Vec<Finding> {
    let season = Season::load(Path::new("datasets/lowland-search")).unwrap();
    audit(&season).unwrap().findings.into_iter().map(|j| j.finding).collect()
}

fn places(finding: &Finding) -> Vec<(&str, usize)> {
    let all = std::iter::once(&finding.place).chain(&finding.others);
    all.map(|p| (p.file.as_str(), p.line.unwrap_or(0))).collect()
}

#[test]
fn every_planted_fault_is_found_by_its_rule_and_nothing_clean_is_suspected() {
    let all = demo();
    let of = |rule: &str| all.iter().filter(|f| f.rule == rule).collect::<Vec<_>>();

    let slips = of("typing slip");
    assert_eq!(slips.len(), 2, "{slips:#?}");
    let point = slips.iter().find(|f| places(f) == [("spring.csv", 1430)]).unwrap();
    assert!(point.what.contains("15.2 for plover") && point.what.contains("as 1.52, the decimal point moved"));
    let exchange = slips.iter().find(|f| places(f) == [("summer.csv", 633), ("summer.csv", 641)]).unwrap();
    assert!(exchange.what.contains("it would fit if it is exchanged with 1.38 of summer.csv:641"), "{}", exchange.what);

    let drifts = of("drift");
    assert_eq!(drifts.len(), 1, "{drifts:#?}");
    assert!(drifts[0].what.starts_with("session 2026-08-08 drifts") && drifts[0].what.contains("weak battery"));
    for set in ["forward power, 2 m", "forward power, 70 cm", "forward power, GMRS", "field strength, 70 cm"] {
        assert!(drifts[0].what.contains(set), "{set}: {}", drifts[0].what);
    }
    assert!(drifts[0].others.iter().all(|p| p.file == "summer.csv"));

    let shifts = of("meter shifted");
    assert_eq!(shifts.len(), 1, "{shifts:#?}");
    assert!(shifts[0].what.starts_with("from session 2026-06-13 on analyzer reads higher against inline"));
    assert!(shifts[0].what.contains("the check loads say it was analyzer"));

    let left_on = of("repeats on one mounting");
    assert!(left_on.iter().any(|f| f.what.contains("curlew was never re-mounted")));
    assert!(left_on.iter().any(|f| f.what.contains("dunlin (2026-05-30)")));
    assert!(of("islands").iter().any(|f| f.what.contains("[snipe]")));
    assert!(of("declared sources").iter().any(|f| f.what.contains("position of the radio")));
    assert!(of("left out").iter().any(|f| f.what.contains("godwit")));

    // nothing else is suspected, and nothing is called an error
    let suspects: Vec<&str> = all.iter().filter(|f| f.group == Group::Suspect).map(|f| f.rule).collect();
    assert!(suspects.iter().all(|r| ["typing slip", "drift", "meter shifted"].contains(r)), "{suspects:?}");
    assert!(all.iter().all(|f| f.group != Group::Impossible && f.severity != Severity::Error));
}
