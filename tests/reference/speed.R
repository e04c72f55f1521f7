# How long R takes, for comparison: one REML fit and all antenna pairs with
# Kenward-Roger standard errors and df. Prints the median of five; writes nothing.
#
#   Rscript tests/reference/speed.R

Sys.setenv(OMP_NUM_THREADS = "1", OPENBLAS_NUM_THREADS = "1")
suppressPackageStartupMessages({ library(lme4); library(pbkrtest); library(emmeans) })
set.seed(1)

season <- function(antennas, sessions, mountings, readings) {
  d <- expand.grid(reading = seq_len(readings), mounting = seq_len(mountings),
                   session = seq_len(sessions), antenna = seq_len(antennas))
  d$visit <- factor(paste(d$session, d$antenna))
  d$mount <- factor(paste(d$visit, d$mounting))
  d$session <- factor(d$session); d$antenna <- factor(d$antenna)
  effect <- function(f, sd) rnorm(nlevels(f), 0, sd)[as.integer(f)]
  d$value <- round(15 + effect(d$antenna, 1) + effect(d$session, 0.5) + effect(d$visit, 0.4) +
                     effect(d$mount, 0.3) + rnorm(nrow(d), 0, 0.2), 3)
  d
}

timed <- function(label, d) {
  seconds <- sapply(1:6, function(i) {
    now <- proc.time()[["elapsed"]]
    fit <- lmer(value ~ antenna + (1 | session) + (1 | visit) + (1 | mount), d)
    middle <- proc.time()[["elapsed"]]
    table <- summary(pairs(emmeans(fit, "antenna", lmer.df = "kenward-roger")), adjust = "none")
    c(middle - now, proc.time()[["elapsed"]] - middle)
  })[, -1]                                                # the first round only warms up
  cat(sprintf("%-44s N=%d  fit %.3f s, pairs %.3f s, both %.3f s\n", label, nrow(d),
              median(seconds[1, ]), median(seconds[2, ]), median(colSums(seconds))))
}

timed("4 antennas x 4 sessions x 2 x 3", season(4, 4, 2, 3))
timed("10 antennas x 8 sessions x 2 x 3", season(10, 8, 2, 3))
