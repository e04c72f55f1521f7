//! A progress bar on a terminal, and nothing elsewhere.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// A spinner that counts chunks of replays; hidden when quiet or when standard error is no terminal.
pub fn counter(quiet: bool, what: &'static str) -> ProgressBar {
    let target = if quiet { ProgressDrawTarget::hidden() } else { ProgressDrawTarget::stderr_with_hz(8) };
    let bar = ProgressBar::with_draw_target(None, target);
    if let Ok(style) = ProgressStyle::with_template("{spinner} {msg} {human_pos}") {
        bar.set_style(style);
    }
    bar.set_message(what);
    bar
}
