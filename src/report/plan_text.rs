//! What `daylight plan` prints: how many sessions, what to repeat, the running order.

use super::number::{self, plural};
use super::text::{assumptions, look_words, table, wrap};
use crate::analysis::next::{duration, list};
use crate::analysis::plan::components::Origin;
use crate::analysis::plan::promise::{Chance, Design, Simulated};
use crate::analysis::plan::result::{Plan, PlannedPair, Stage};
use crate::stats::mixed::Level;
use unicode_width::UnicodeWidthStr;

/// Before anyone keys a radio: on the sheet, and below the order.
pub const CAUTIONS: [&str; 4] = [
    "Keep the antenna clear of eyes and face, and let nobody touch it: a keyed antenna burns.",
    "Keep each key-down as short as the meter allows, at the lowest power that reads well, and know your exposure limits.",
    "Never transmit into an analyzer: take the radio off the line before the analyzer goes on.",
    "Listen first, identify, and transmit only where your licence allows it. Local rules decide.",
];

/// At most so many other ways to spend the minutes are shown.
const WAYS: usize = 5;

/// The whole answer. Ends with a newline.
pub fn render(plan: &Plan) -> String {
    let mut out: Vec<String> = vec![plan.season.clone(), String::new()];
    out.extend(assumptions(&plan.assumptions));
    out.push(wrap(&format!("{}{}", headline(plan), look_words(plan.look.as_ref(), " in a set")), ""));
    out.extend(if plan.stages.is_empty() {
        vec![]
    } else {
        vec![wrap(&what_to_repeat(plan), ""), wrap(&scatter_known(plan), "")]
    });
    out.extend(stopping(plan));
    out.push(String::new());
    out.extend(stages_table(plan));
    out.extend(ways_table(plan));
    out.extend(plan.next.first().map(|s| wrap(&format!("Over all sets: {}", lower(&s.words())), "") + "\n"));
    out.push(order_table(plan));
    out.extend(balance(plan).map(|words| wrap(&words, "")));
    out.push(String::new());
    out.push("Before you key the radio".into());
    out.extend(CAUTIONS.iter().map(|c| wrap(&format!("  - {c}"), "    ")));
    out.push(String::new());
    out.push(wrap(&method(plan), ""));
    out.join("\n") + "\n"
}

fn lower(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |c| c.to_lowercase().collect::<String>() + chars.as_str())
}

fn pair(p: &PlannedPair) -> String {
    format!("{} against {}", p.first, p.second)
}

fn pairs(plan: &Plan) -> String {
    let names: Vec<String> = plan.pairs.iter().map(pair).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    if names.len() > 4 { format!("{} pairs", names.len()) } else { list(&names) }
}

/// "3 more sessions of 2 mountings of 2 readings each".
fn more(d: &Design) -> String {
    format!(
        "{} of {} of {} each",
        plural(d.sessions, "more session", "more sessions"),
        plural(d.mountings, "mounting", "mountings"),
        plural(d.readings, "reading", "readings")
    )
}

/// What is promised, in a sentence or two.
pub(super) fn headline(plan: &Plan) -> String {
    if plan.pairs.is_empty() {
        return format!(
            "Nothing is open among the antennas asked about ({}): there is nothing to settle. The order below is there in case you measure them once more all the same.",
            plan.set
        );
    }
    let hypothetical = plan.pairs.iter().any(|p| !p.measured);
    let differ = match plan.pairs.iter().find(|p| !p.measured).and_then(|p| p.matters) {
        Some(m) => format!(", if they differ by {m} (what matters)"),
        None => String::new(),
    };
    let what =
        if hypothetical { format!("tell {} apart{differ}", pairs(plan)) } else { format!("settle {}", pairs(plan)) };
    let each = if plan.pairs.len() > 1 { ", each" } else { "," };
    match plan.enough.and_then(|i| plan.stages.get(i)) {
        Some(stage) => format!(
            "{}, {}, would {what}{each} with a chance of {}{} ({}).",
            more(&stage.design),
            duration(stage.minutes),
            in_words(stage.least()),
            if plan.pairs.len() > 1 { " or better" } else { "" },
            plan.set
        ),
        None => {
            let least = plan.stages.last().map(|s| s.least()).unwrap_or_default();
            let sessions = plan.stages.last().map_or(0, |s| s.design.sessions);
            let stays = plan.lasting.iter().fold(0.0, |m: f64, x| m.max(*x));
            let because = if stays > 0.0 {
                format!(
                    " Declared sources alone keep up to ± {} {} in {}, and no session makes that smaller.",
                    number::to_digit(stays, crate::analysis::antennas::intervals::last_digit(stays)),
                    if plan.unit == "1" { "" } else { &plan.unit },
                    if plan.pairs.len() > 1 { "these differences" } else { "this difference" }
                )
            } else {
                String::new()
            };
            let chance = if plan.pairs.len() > 1 { "the least of their chances" } else { "the chance" };
            format!(
                "Even {sessions} more sessions, as you measure now, would not surely {what}: {chance} is then {} ({}).{because}",
                in_words(least),
                plan.set
            )
        }
    }
}

fn chance(c: Simulated) -> String {
    number::chance_within(c.chance, c.half_width)
}

/// The same inside a sentence.
fn in_words(c: Simulated) -> String {
    chance(c).replace("< ", "less than ").replace("> ", "more than ")
}

/// Which level holds the scatter, and what that means for repeats.
fn what_to_repeat(plan: &Plan) -> String {
    let names = ["from visit to visit", "from mounting to mounting", "from reading to reading"];
    let share = |k: usize| format!("{:.0} %", plan.shares[k] * 100.0);
    let largest = (0..3).reduce(|a, b| if plan.shares[b] > plan.shares[a] { b } else { a }).unwrap_or(0);
    let advice = match largest {
        0 => {
            "More mountings make the last two smaller, more readings the last alone; only more sessions make all of it smaller"
        }
        1 => "More readings of one mounting make the last alone smaller: take the antenna off and put it back",
        _ => "Here more readings help most, and cost the least",
    };
    format!(
        "Of the scatter of one reading inside a session {} is {}, {} {} and {} {}. {advice}.",
        share(0),
        names[0],
        share(1),
        names[1],
        share(2),
        names[2]
    )
}

/// Where the sizes of the scatter come from, as far as they are not simply estimated.
fn scatter_known(plan: &Plan) -> String {
    let of = |origin: Origin| -> Vec<&str> {
        Level::ALL.iter().zip(plan.origin).filter(|(_, o)| *o == origin).map(|(l, _)| l.name()).collect()
    };
    let mut out = vec![];
    let (guessed, declared, outside) = (of(Origin::Guessed), of(Origin::Declared), of(Origin::CountedOutside));
    if !guessed.is_empty() {
        out.push(format!(
            "The log shows nothing of the scatter of the {}: typical sizes stand in, so plan again once it does.",
            list(&guessed)
        ));
    }
    if !declared.is_empty() {
        out.push(format!("The scatter of the {} is as declared.", list(&declared)));
    }
    if !outside.is_empty() {
        out.push(format!(
            "The log cannot tell the scatter of the {} from that of the level outside it, where it is reckoned.",
            list(&outside)
        ));
    }
    if out.is_empty() {
        out.push("The scatter is this season's own, with what is not known of it reckoned in.".into());
    }
    out.join(" ")
}

/// Whether one may stop, and what looking several times costs.
fn stopping(plan: &Plan) -> Vec<String> {
    let words = match (&plan.look, plan.pairs.is_empty()) {
        (Some(_), true) => "You may stop here: what was asked is settled, at the level of this look.",
        (None, false) => {
            "Looking after every session and stopping when a pair comes out apart makes false verdicts likelier. If you mean to, say how often in season.toml before the first look: `looks = 12`, for example. Looks already taken without it are not paid for."
        }
        _ => return vec![],
    };
    vec![wrap(words, "")]
}

/// So much room there is for the names of pairs above their columns.
const HEADS: usize = 33;

fn pair_head(p: &PlannedPair) -> String {
    format!("{}–{}", p.first, p.second)
}

/// Whether letters stand for the pairs in the tables: three at most have columns of their own.
fn lettered(plan: &Plan) -> bool {
    let widths = plan.pairs.iter().map(|p| pair_head(p).width() + 2);
    (2..=3).contains(&plan.pairs.len()) && widths.sum::<usize>() > HEADS
}

/// What the letters stand for.
fn legend(plan: &Plan) -> Option<String> {
    let all = plan.pairs.iter().zip(["A", "B", "C"]).map(|(p, l)| format!("{l} {}", pair_head(p)));
    lettered(plan).then(|| wrap(&format!("  {}", all.collect::<Vec<_>>().join(", ")), "  ") + "\n")
}

fn heads(plan: &Plan) -> Vec<String> {
    let all_hypothetical = plan.pairs.iter().all(|p| !p.measured);
    let mut heads: Vec<String> = match plan.pairs.len() {
        n if n > 3 => vec!["least".into(), "mean".into()],
        _ if lettered(plan) => ["A", "B", "C"][..plan.pairs.len()].iter().map(|l| l.to_string()).collect(),
        _ => plan.pairs.iter().map(pair_head).collect(),
    };
    if let Some(m) = plan.pairs.first().and_then(|p| p.matters).filter(|_| !all_hypothetical) {
        heads.push(format!("shows {m}"));
    }
    heads
}

fn cells(plan: &Plan, chances: &[Chance]) -> Vec<String> {
    let settled = || chances.iter().map(|c| c.settled);
    let least = settled().reduce(|least, c| if c.chance < least.chance { c } else { least });
    let mut cells: Vec<String> = if chances.len() > 3 {
        [least, Simulated::mean(settled())].into_iter().flatten().map(chance).collect()
    } else {
        settled().map(chance).collect()
    };
    if heads(plan).len() > cells.len() {
        cells.extend(Simulated::mean(chances.iter().filter_map(|c| c.shows_what_matters)).map(chance));
    }
    cells
}

fn stages_table(plan: &Plan) -> Vec<String> {
    if plan.stages.is_empty() {
        return vec![];
    }
    let rows: Vec<Vec<String>> = plan
        .stages
        .iter()
        .map(|s| [vec![s.design.sessions.to_string(), minutes(s.minutes)], cells(plan, &s.chances)].concat())
        .collect();
    let heads = heads(plan);
    let header: Vec<&str> = ["more sessions", "minutes"].into_iter().chain(heads.iter().map(String::as_str)).collect();
    let right: Vec<usize> = (0..header.len()).collect();
    let first = plan.stages[0].design.clone();
    let head = format!(
        "Chance of a verdict, measuring as now: {} of {} of each antenna a session",
        plural(first.mountings, "mounting", "mountings"),
        plural(first.readings, "reading", "readings")
    );
    let legend = legend(plan).unwrap_or_default();
    vec![format!("{}\n{legend}{}\n", wrap(&head, ""), table(&header, &right, &rows))]
}

fn minutes(m: f64) -> String {
    number::count((m / 5.0).round() as usize * 5)
}

fn ways_table(plan: &Plan) -> Vec<String> {
    let Some(budget) = plan.minutes.filter(|_| plan.alternatives.len() > 1) else { return vec![] };
    let mut shown: Vec<_> = plan.alternatives.iter().take(WAYS).collect();
    shown.extend(plan.alternatives.iter().skip(WAYS).filter(|a| a.usual));
    let rows: Vec<Vec<String>> = shown
        .iter()
        .map(|a| {
            let mark = if a.usual { "as now" } else { "" };
            let spent = format!("{} × {} × {}", a.design.sessions, a.design.mountings, a.design.readings);
            [vec![spent, minutes(a.minutes)], cells(plan, &a.chances), vec![mark.to_string()]].concat()
        })
        .collect();
    let heads = heads(plan);
    let mut header: Vec<&str> = vec!["spent on", "minutes"];
    header.extend(heads.iter().map(String::as_str));
    let right: Vec<usize> = (0..header.len()).collect();
    header.push("");
    vec![format!(
        "{}\n{}\n",
        wrap(
            &format!(
                "Ways to spend {}, as sessions × mountings of each antenna × readings, likeliest to settle first; of equals the shortest",
                duration(budget)
            ),
            ""
        ),
        table(&header, &right, &rows)
    )]
}

fn order_table(plan: &Plan) -> String {
    let rows: Vec<Vec<String>> = plan
        .order
        .slots
        .iter()
        .map(|s| {
            let kind = if s.is_load {
                "check load".to_string()
            } else if Some(&s.what) == plan.reference.as_ref() {
                format!("reference antenna, mounting {}", s.mounting)
            } else {
                format!("mounting {}", s.mounting)
            };
            vec![s.place.to_string(), s.what.clone(), kind]
        })
        .collect();
    format!("Running order: {}\n{}", plan.session, table(&["#", "on the bench", ""], &[0], &rows))
}

/// How well the order stands up to drift; nothing where no two antennas are in it to be told apart.
fn balance(plan: &Plan) -> Option<String> {
    let (own, lot) = (plan.order.balance, plan.order.by_lot);
    let mut others: Vec<&str> = plan.order.slots.iter().filter(|s| !s.is_load).map(|s| s.what.as_str()).collect();
    others.retain(|name| Some(*name) != plan.reference.as_deref());
    let mountings = others.iter().filter(|name| **name == others[0]).count();
    if others.len() <= mountings {
        return None;
    }
    if mountings == 1 {
        return Some(
            "With one mounting each, a drift inside the session falls on whoever is early or late; two mountings each would balance it.".into(),
        );
    }
    let say = |x: f64| number::to_digit(x, 0.01);
    let both = if own.quadratic > lot.quadratic && mountings == 2 {
        " With two mountings each, no order has both small; three do."
    } else {
        ""
    };
    Some(format!(
        "A drift that climbs by 1 from the middle of the session to its end moves an antenna's result by {} in this order (by {} in an order by lot), a bow of that size by {} ({}).{both} No antenna comes back sooner than {} mountings later (by lot {}).",
        say(own.linear),
        say(lot.linear),
        say(own.quadratic),
        say(lot.quadratic),
        own.closest,
        number::to_digit(lot.closest, 0.1)
    ))
}

fn method(plan: &Plan) -> String {
    if plan.stages.is_empty() {
        return format!("Seed {}.", plan.seed);
    }
    let shows = match plan.pairs.first().and_then(|p| p.matters) {
        Some(m) if plan.pairs.iter().any(|p| p.measured) => {
            format!(" \"shows {m}\": the chance that two which truly differ by {m}, what matters, come out apart.")
        }
        _ => String::new(),
    };
    format!(
        "Chances: the log as it stands and {} simulated continuations, each fitted and judged as `antennas` does, {}; what is not known of the scatter and of the differences is drawn, not taken as estimated. ±: what so few simulations leave open of a chance, with 95 % confidence; --trials makes it smaller.{shows} Minutes: {} a session, {} a mounting, {} a reading of one meter on one band ([effort] in season.toml). Seed {}.",
        number::count(plan.trials),
        held_to(plan),
        plan.effort.session_minutes,
        plan.effort.mounting_minutes,
        plan.effort.reading_minutes,
        plan.seed
    )
}

/// The level of the verdicts that are promised.
fn held_to(plan: &Plan) -> String {
    let (Some(_), Some(first), Some(last)) = (plan.look, plan.stages.first(), plan.stages.last()) else {
        return format!("at {} confidence", number::percent(plan.confidence));
    };
    let after = |s: &Stage| {
        format!(
            "{} after {}",
            number::percent_at_most(s.level),
            plural(s.design.sessions, "more session", "more sessions")
        )
    };
    let both = [after(first), after(last)];
    let levels = if first.design == last.design { &both[..1] } else { &both[..] };
    let levels: Vec<&str> = levels.iter().map(String::as_str).collect();
    format!("a false verdict having the chance that the look it comes to may spend ({})", list(&levels))
}
