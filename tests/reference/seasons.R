# Oracle values for 54 invented seasons: REML fits and Kenward-Roger pairs.
#
#   Rscript tests/reference/seasons.R          (from the project's root)
#
# remakes seasons.csv (the readings) and seasons.json (the values) and prints how well the
# independent ways agree. It is seeded: the same versions give the same readings.
#
# Made with R 4.2.2, lme4 1.1-31, pbkrtest 0.5.2, jsonlite 1.8.4, Matrix 1.5-3.
#
# The values may be made again only when the design of the cases or the rule of inference
# changes, and never to make a failing test pass: if the program and this file disagree, one
# of them is wrong, and which one has to be found out first.
#
# "bounded"   is lme4, every component >= 0, polished by Newton on the components that are
#             not at 0, then checked: no component at 0 wants to rise, and no other set of
#             components at 0 gives a better maximum.
# "inference" is Kenward-Roger on the model the rule of inference (README.md) ends in.

Sys.setenv(OMP_NUM_THREADS = "1", OPENBLAS_NUM_THREADS = "1")
suppressPackageStartupMessages({ library(lme4); library(pbkrtest); library(jsonlite) })
RNGkind("Mersenne-Twister", "Inversion", "Rejection")

here <- dirname(sub("^--file=", "", grep("^--file=", commandArgs(), value = TRUE)[1]))
source(file.path(here, "dense.R"))

# ---------------------------------------------------------------- the cases
# cells: complete | missing | incomplete | linked
# mountings, readings: a fixed number, or NA for random (1-4 a visit, 1-6 a mounting)
# sd: session, visit, mounting, reading; A, S: antennas and sessions
# seed: 1000 x row + the number of the draw. Earlier draws of the row were not what it asked
#       for, or had no single unbounded maximum; six that had none are rows 37 to 42. Rows 43 to
#       54 are draws of earlier rows that take the rule of inference along other paths.
# want: what the row must turn out to be, NA for anything; a path is what is at zero in each
#       fit in turn
case <- function(kind, cells, A, S, mountings, readings, sd, seed, want = NA)
  list(kind = kind, cells = cells, A = A, S = S, mountings = mountings, readings = readings, sd = sd, seed = seed, want = want)

cases <- list(
  case("balanced",                 "complete",    4, 4,  2,  3, c(0.60, 0.30, 0.20, 0.15),  1001, "regular"),
  case("balanced",                 "complete",    3, 6,  3,  2, c(0.50, 0.00, 0.40, 0.20),  2001, "visit at zero"),
  case("balanced",                 "complete",    5, 3,  2,  2, c(0.00, 0.20, 0.50, 0.10),  3002, "visit at zero"),
  case("balanced",                 "complete",    2, 5,  4,  1, c(0.80, 0.25, 0.25, 0.25),  4001, "regular"),
  case("balanced, one mounting",   "complete",    6, 4,  1,  3, c(0.30, 0.40, 0.00, 0.30),  5001, NA),
  case("one mounting a visit",     "missing",     4, 5,  1, NA, c(0.70, 0.30, 0.20, 0.20),  6001, "regular"),
  case("one mounting a visit",     "missing",     7, 6,  1, NA, c(0.20, 0.10, 0.10, 0.50),  7001, NA),
  case("one mounting a visit",     "incomplete",  6, 9,  1, NA, c(1.20, 0.30, 0.20, 0.20),  8001, "regular"),
  case("one mounting a visit",     "incomplete",  8, 7,  1, NA, c(0.00, 0.40, 0.20, 0.30),  9005, "singular"),
  case("one mounting a visit",     "linked",      6, 8,  1, NA, c(0.50, 0.50, 0.30, 0.30), 10004, "regular"),
  case("one mounting a visit",     "linked",      9, 6,  1, NA, c(0.40, 0.00, 0.00, 0.60), 11001, "singular"),
  case("one mounting, one reading","missing",     5, 7,  1,  1, c(0.60, 0.20, 0.20, 0.30), 12001, "regular"),
  case("one mounting, one reading","incomplete",  8, 9,  1,  1, c(0.30, 0.20, 0.20, 0.60), 13001, NA),
  case("single readings",          "complete",    3, 4, NA,  1, c(0.40, 0.30, 0.30, 0.10), 14001, NA),
  case("single readings",          "missing",     6, 5, NA,  1, c(0.80, 0.50, 0.20, 0.20), 15001, "regular"),
  case("single readings",          "incomplete",  5, 8, NA,  1, c(0.20, 0.00, 0.40, 0.20), 16003, "singular"),
  case("single readings",          "linked",      7, 7, NA,  1, c(0.60, 0.30, 0.20, 0.10), 17001, "regular"),
  case("linked by a reference",    "linked",      4, 5, NA, NA, c(0.50, 0.30, 0.30, 0.20), 18002, "regular"),
  case("linked by a reference",    "linked",      8, 9, NA, NA, c(1.50, 0.20, 0.10, 0.10), 19001, "regular"),
  case("linked by a reference",    "linked",     10, 6, NA, NA, c(0.10, 0.40, 0.30, 0.30), 20001, NA),
  case("linked by a reference",    "linked",      3, 4, NA, NA, c(0.30, 0.20, 0.10, 0.40), 21001, NA),
  case("linked by a reference",    "linked",      6, 7, NA, NA, c(0.40, 0.00, 0.50, 0.20), 22003, "singular"),
  case("incomplete",               "incomplete",  5, 6, NA, NA, c(0.60, 0.40, 0.20, 0.20), 23003, "regular"),
  case("incomplete",               "incomplete",  9, 9, NA, NA, c(0.40, 0.30, 0.30, 0.10), 24001, "regular"),
  case("incomplete",               "incomplete",  7, 8, NA, NA, c(0.00, 0.30, 0.30, 0.30), 25001, "singular"),
  case("missing cells",            "missing",     2, 3, NA, NA, c(0.50, 0.20, 0.20, 0.20), 26002, NA),
  case("missing cells",            "missing",     3, 9, NA, NA, c(0.30, 0.30, 0.20, 0.50), 27001, "regular"),
  case("missing cells, large",     "missing",    10, 9, NA, NA, c(0.50, 0.30, 0.20, 0.20), 28001, "regular"),
  case("two sessions",             "complete",    5, 2, NA, NA, c(0.40, 0.30, 0.20, 0.20), 29001, NA),
  case("session dominates",        "missing",     5, 6, NA, NA, c(2.00, 0.10, 0.10, 0.10), 30001, "regular"),
  case("visit dominates",          "missing",     4, 6, NA, NA, c(0.10, 1.80, 0.10, 0.10), 31001, NA),
  case("mounting dominates",       "missing",     6, 4, NA, NA, c(0.10, 0.10, 1.50, 0.05), 32001, NA),
  case("reading dominates",        "missing",     5, 5, NA, NA, c(0.05, 0.05, 0.05, 1.50), 33001, NA),
  case("session zero",             "missing",     6, 6, NA, NA, c(0.00, 0.50, 0.30, 0.20), 34003, "singular"),
  case("visit zero",               "missing",     4, 7, NA, NA, c(0.60, 0.00, 0.40, 0.30), 35001, "singular"),
  case("mounting zero",            "missing",     5, 4, NA, NA, c(0.50, 0.40, 0.00, 0.50), 36001, "singular"),
  case("one mounting a visit",     "incomplete",  8, 7,  1, NA, c(0.00, 0.40, 0.20, 0.30),  9001, "no unbounded maximum"),
  case("single readings",          "incomplete",  5, 8, NA,  1, c(0.20, 0.00, 0.40, 0.20), 16001, "no unbounded maximum"),
  case("linked by a reference",    "linked",      4, 5, NA, NA, c(0.50, 0.30, 0.30, 0.20), 18001, "no unbounded maximum"),
  case("linked by a reference",    "linked",      6, 7, NA, NA, c(0.40, 0.00, 0.50, 0.20), 22002, "no unbounded maximum"),
  case("incomplete",               "incomplete",  5, 6, NA, NA, c(0.60, 0.40, 0.20, 0.20), 23001, "no unbounded maximum"),
  case("missing cells",            "missing",     2, 3, NA, NA, c(0.50, 0.20, 0.20, 0.20), 26001, "no unbounded maximum"),
  case("missing cells",            "missing",     2, 3, NA, NA, c(0.50, 0.20, 0.20, 0.20), 26020, "{visit,mounting} {}"),
  case("linked by a reference",    "linked",      3, 4, NA, NA, c(0.30, 0.20, 0.10, 0.40), 21021, "{visit,mounting} {}"),
  case("missing cells",            "missing",     2, 3, NA, NA, c(0.50, 0.20, 0.20, 0.20), 26014, "{session,visit,mounting} {session} {}"),
  case("reading dominates",        "missing",     5, 5, NA, NA, c(0.05, 0.05, 0.05, 1.50), 33014, "{session,visit,mounting} {session} {}"),
  case("mounting zero",            "missing",     5, 4, NA, NA, c(0.50, 0.40, 0.00, 0.50), 36011, "{session} {mounting} {}"),
  case("linked by a reference",    "linked",      3, 4, NA, NA, c(0.30, 0.20, 0.10, 0.40), 21047, "{session} {mounting} {}"),
  case("single readings",          "incomplete",  5, 8, NA,  1, c(0.20, 0.00, 0.40, 0.20), 16053, "{session} {visit} {}"),
  case("missing cells",            "missing",     2, 3, NA, NA, c(0.50, 0.20, 0.20, 0.20), 26019, "{visit} {session} {}"),
  case("reading dominates",        "missing",     5, 5, NA, NA, c(0.05, 0.05, 0.05, 1.50), 33053, "{session,mounting} {session} {visit} {}"),
  case("one mounting a visit",     "missing",     7, 6,  1, NA, c(0.20, 0.10, 0.10, 0.50),  7025, "{session,mounting} {session} {}"),
  case("one mounting a visit",     "linked",      9, 6,  1, NA, c(0.40, 0.00, 0.00, 0.60), 11036, "{session,mounting} {session} {}"),
  case("one mounting, one reading","incomplete",  8, 9,  1,  1, c(0.30, 0.20, 0.20, 0.60), 13011, "{session} {}"))
stopifnot(length(cases) == 54)

# ---------------------------------------------------------------- drawing a season
connected <- function(cell) {                      # are all antennas joined through sessions?
  reached <- cell[1, ] > 0
  repeat {
    sessions <- rowSums(cell[, reached, drop = FALSE]) > 0
    more <- colSums(cell[sessions, , drop = FALSE]) > 0 | reached
    if (identical(more, reached)) return(all(reached) && all(sessions))
    reached <- more
  }
}

draw_cells <- function(cells, A, S) {              # sessions x antennas, TRUE where visited
  repeat {
    cell <- switch(cells,
      complete = matrix(TRUE, S, A),
      missing = matrix(runif(S * A) > runif(1, 0.15, 0.35), S, A),
      incomplete = t(sapply(seq_len(S), function(s)
        seq_len(A) %in% sample.int(A, sample(2:max(2, ceiling(A / 2)), 1)))),
      linked = cbind(TRUE, sapply(seq_len(A - 1), function(a)
        seq_len(S) %in% sample.int(S, sample.int(min(3, S), 1)))))
    if (all(colSums(cell) > 0) && all(rowSums(cell) > 0) && connected(cell) &&
        sum(cell) - S - A + 1 > 0) return(cell)
  }
}

draw_season <- function(c) {
  repeat {
    cell <- draw_cells(c$cells, c$A, c$S)
    level <- runif(c$A, 8, 22)
    session_effect <- rnorm(c$S, 0, c$sd[1])
    rows <- list()
    for (s in seq_len(c$S)) for (a in seq_len(c$A)) if (cell[s, a]) {
      visit_effect <- rnorm(1, 0, c$sd[2])
      mountings <- if (is.na(c$mountings)) sample.int(4, 1) else c$mountings
      for (k in seq_len(mountings)) {
        mounting_effect <- rnorm(1, 0, c$sd[3])
        readings <- if (is.na(c$readings)) sample.int(6, 1) else c$readings
        rows[[length(rows) + 1]] <- data.frame(
          session = sprintf("s%d", s), antenna = sprintf("a%02d", a), mounting = k,
          value = level[a] + session_effect[s] + visit_effect + mounting_effect + rnorm(readings, 0, c$sd[4]))
      }
    }
    d <- do.call(rbind, rows)
    d$value <- as.numeric(sprintf("%.3f", d$value))          # what the CSV will hold
    d$visit <- paste(d$session, d$antenna)
    d$mount <- paste(d$visit, d$mounting)
    n <- counts(d)
    as_asked <- (n$mountings == n$visits) == identical(c$mountings, 1) &&
      (n$readings == n$mountings) == identical(c$readings, 1)
    if (as_asked && all(d$value >= 0 & d$value <= 30)) return(d)
  }
}

counts <- function(d) list(
  sessions = length(unique(d$session)), antennas = length(unique(d$antenna)),
  visits = length(unique(d$visit)), mountings = length(unique(d$mount)), readings = nrow(d))

# ---------------------------------------------------------------- one bounded fit
# Observations: a data frame of session, antenna, visit, mount, value, weight.
# `levels` names the random levels above the last component, outermost first.
#
# The merging rules: no mounting term where every mounting has one reading; no visit term
# where every visit has one mounting (its visits then are its mountings).
levels_of <- function(n) c("session", if (n$mountings > n$visits) "visit", if (n$readings > n$mountings) "mounting")

column_of <- c(session = "session", visit = "visit", mounting = "mount")

fit_bounded <- function(obs, levels, residual, session_fixed, where) {
  groups <- setNames(lapply(levels, function(l) obs[[column_of[[l]]]]), levels)
  m <- dense_model(obs$value, obs$antenna, groups, residual, obs$weight, if (session_fixed) obs$session)
  all_levels <- names(m$G)
  K <- length(all_levels)
  check <- list()

  if (K == 1) {                                    # weighted least squares
    line <- lm(value ~ 0 + antenna + session, data = obs, weights = weight)
    polished <- dense_fit(m, summary(line)$sigma^2)
    check$ls_component <- abs(polished$theta / summary(line)$sigma^2 - 1)
    kr <- dense_kr(m, polished)$pairs
    v <- vcov(line)
    se <- mapply(function(a, b) sqrt(v[a, a] + v[b, b] - 2 * v[a, b]), paste0("antenna", kr$first), paste0("antenna", kr$second))
    difference <- coef(line)[paste0("antenna", kr$first)] - coef(line)[paste0("antenna", kr$second)]
    check$ls_difference <- max(abs(kr$difference - difference))
    check$ls_se <- relative(kr$se_kr, se)
    check$ls_df <- relative(kr$df_kr, df.residual(line))
    if (max(unlist(check)) > 1e-8) stop(where, ": not weighted least squares")
    return(list(m = m, fit = polished, check = check))
  }

  # lme4, then Newton on the components that are not at 0
  data <- data.frame(obs, as.data.frame(groups)[setdiff(levels, names(obs))])
  formula <- as.formula(paste("value ~ 0 + antenna", if (session_fixed) "+ session", "+",
                              paste0("(1 | ", levels, ")", collapse = " + ")))
  lmer_fit <- lmer_tight(formula, data)
  start <- lmer_components(lmer_fit, all_levels)
  free <- sqrt(start / start[[K]]) >= 1e-4
  polished <- dense_fit(m, ifelse(free, start, 0), free)
  if (is.null(polished) || any(polished$theta[free] <= 0)) stop(where, ": no bounded maximum where lme4 stopped")
  if (any(polished$theta[!free] != 0)) stop(where, ": a component at zero is not zero")
  if (any(polished$score[!free] >= 0)) stop(where, ": lme4 stopped where a component wants to rise")
  if (polished$criterion > REMLcrit(lmer_fit) + 1e-7) stop(where, ": the polished criterion is worse than lme4's")

  # Every set of components at 0, from other starts: the same maximum, and none better.
  total <- sum(start)
  starts <- list(rep(total / K, K), total * c(rep(0.05, K - 1), 1), total * c(rep(1, K - 1), 0.2))
  agree <- 0; check$own_component <- check$own_se <- check$own_df <- 0; check$other_maxima <- 0
  kr <- dense_kr(m, polished)
  for (set in seq_len(2^(K - 1)) - 1) {
    positive <- c(bitwAnd(set, 2^(seq_len(K - 1) - 1)) > 0, TRUE)
    for (s in starts) {
      end <- dense_fit(m, ifelse(positive, s, 0), positive)
      if (is.null(end) || any(end$theta[positive] <= 0) || any(end$score[!positive] > 0)) next
      if (end$criterion < polished$criterion - 1e-8) stop(where, ": there is a better maximum than lme4's")
      if (!identical(unname(positive), unname(free)) || max(abs(end$theta - polished$theta)) > 1e-6 * total) {
        check$other_maxima <- check$other_maxima + 1
        next
      }
      agree <- agree + 1
      other <- dense_kr(m, end)$pairs
      check$own_component <- max(check$own_component, relative(end$theta[free], polished$theta[free]))
      check$own_se <- max(check$own_se, relative(other$se_kr, kr$pairs$se_kr))
      check$own_df <- max(check$own_df, relative(other$df_kr, kr$pairs$df_kr))
    }
  }
  if (agree == 0) stop(where, ": no other start ends in lme4's maximum")
  if (max(check$own_component, check$own_se, check$own_df) > 1e-8) stop(where, ": the starts do not agree to 1e-8")

  # lme4's criterion and estimates at the polished components
  at_polished <- lmer_at(formula, data, polished$theta)
  check$criterion <- abs(polished$criterion - REMLcrit(at_polished))
  check$estimates <- max(abs(polished$beta - fixef(at_polished))[seq_along(m$names)])
  if (check$criterion > 1e-7 || check$estimates > 1e-7) stop(where, ": lme4 and dense disagree on the criterion or the estimates")
  check$lme4_component <- relative(start[free], polished$theta[free])

  # How clear is what is at zero? Both in standard errors: the score of a component at 0
  # (per root information), and a component above 0.
  information <- polished$expected
  check$score_at_zero <- if (any(!free)) min(-polished$score[!free] / sqrt(diag(information)[!free])) else NA
  above <- free & seq_len(K) < K
  check$least_above_zero <- if (any(above))
    min(polished$theta[above] / sqrt(diag(solve(information[free, free, drop = FALSE])))[above[free]]) else NA

  # pbkrtest on the fit that nothing is at zero in (1e-5 in SE, 1e-3 in df). It knows no
  # weights, so rows are multiplied by the root of theirs. Also, printed only, at lme4's own
  # stopping point.
  if (all(free)) {
    root <- sqrt(obs$weight)
    white <- data.frame(value = obs$value * root, root = root, as.data.frame(groups))
    white$X <- m$X * root
    formula <- as.formula(paste("value ~ 0 + X +", paste0("(0 + root | ", levels, ")", collapse = " + ")))
    other <- pbkrtest_pairs(lmer_at(formula, white, polished$theta), m$names)
    check$se <- relative(kr$pairs$se_kr, other$se_kr)
    check$df <- relative(kr$pairs$df_kr, other$df_kr)
    if (check$se > 1e-5 || check$df > 1e-3) stop(where, ": pbkrtest and dense disagree")
    raw <- pbkrtest_pairs(lmer_at(formula, white, start), m$names)
    check$se_raw <- relative(kr$pairs$se_kr, raw$se_kr)
    check$df_raw <- relative(kr$pairs$df_kr, raw$df_kr)
  }
  list(m = m, fit = polished, check = check)
}

# ---------------------------------------------------------------- the rule of inference
weighted_by <- function(obs, key, weight) {        # one row for each value of key
  rows <- split(seq_len(nrow(obs)), factor(key, levels = unique(key)))
  out <- obs[sapply(rows, `[`, 1), c("session", "antenna", "visit", "mount")]
  out$value <- sapply(rows, function(r) sum(weight[r] * obs$value[r]) / sum(weight[r]))
  out$weight <- sapply(rows, function(r) sum(weight[r]))
  rownames(out) <- NULL
  out
}

# readings -> mounting means, weighted by their readings
to_mountings <- function(obs) weighted_by(obs, obs$mount, rep(1, nrow(obs)))

# -> visits. Readings: mounting means, weights 1 / (mounting + reading / n) from the fit.
# Mounting means: their own weights.
to_visits <- function(obs, basis, theta) {
  if (basis != "mounting") {
    obs <- to_mountings(obs)
    mounting <- if ("mounting" %in% names(theta)) theta[["mounting"]] else 0
    obs$weight <- 1 / (mounting + theta[["reading"]] / obs$weight)
  }
  weighted_by(obs, obs$visit, obs$weight)
}

infer <- function(d, n, where) {
  obs <- data.frame(d[c("session", "antenna", "visit", "mount", "value")], weight = 1)
  levels <- levels_of(n)
  basis <- ""; session_fixed <- FALSE; residual <- "reading"; steps <- list()
  repeat {
    step <- fit_bounded(obs, levels, residual, session_fixed, where)
    steps[[length(steps) + 1]] <- step
    zero <- names(which(step$fit$theta == 0))
    if (length(zero) == 0) break
    if ("visit" %in% zero) {
      obs <- to_visits(obs, basis, step$fit$theta)
      levels <- intersect(levels, "session"); basis <- "visit"; residual <- "lambda"
    } else if ("mounting" %in% zero) {
      obs <- to_mountings(obs)
      levels <- setdiff(levels, "mounting"); basis <- "mounting"; residual <- "lambda"
    } else {
      levels <- setdiff(levels, "session"); session_fixed <- TRUE
    }
  }
  list(basis = if (length(steps) == 1) "reml" else basis, session_fixed = session_fixed, steps = steps)
}

# Has the unbounded likelihood no maximum where V is positive definite? From five starts
# Newton finds none, or ends where V is singular but for rounding.
no_unbounded_maximum <- function(m, bounded) {
  total <- sum(bounded)
  K <- length(bounded)
  starts <- list(bounded, pmax(bounded, total / 100), rep(total / K, K), total * c(rep(0.02, K - 1), 1), total * c(rep(1, K - 1), 0.2))
  all(sapply(starts, function(s) {
    end <- dense_fit(m, s)
    if (is.null(end)) return(TRUE)
    values <- eigen(Reduce(`+`, Map(`*`, end$theta, m$G)), symmetric = TRUE, only.values = TRUE)$values
    min(values) < 1e-8 * max(values)
  }))
}

# ---------------------------------------------------------------- one season
fit_season <- function(id, c, d) {
  where <- paste("season", id)
  n <- counts(d)
  rule <- infer(d, n, where)
  first <- rule$steps[[1]]
  last <- rule$steps[[length(rule$steps)]]
  bounded <- first$fit
  singular <- any(bounded$theta == 0)
  path <- paste(sapply(rule$steps, function(s) paste0("{", paste(names(which(s$fit$theta == 0)), collapse = ","), "}")), collapse = " ")
  asked <- switch(if (is.na(c$want)) "any" else c$want, any = TRUE, singular = singular, regular = !singular,
                  "visit at zero" = bounded$theta[["visit"]] == 0,
                  "no unbounded maximum" = singular && no_unbounded_maximum(first$m, bounded$theta),
                  path == c$want)
  if (!asked) stop(where, ": not what its row asks for")

  final <- last$fit
  kr <- dense_kr(last$m, final)
  if (any(kr$pairs$se_kr < kr$pairs$se_model * (1 - 1e-10))) stop(where, ": an adjusted SE is below the model's")
  checks <- lapply(rule$steps, `[[`, "check")
  pick <- function(name, how) { v <- unlist(lapply(checks, `[[`, name)); v <- v[!is.na(v)]; if (length(v)) how(v) }
  check <- list()
  for (name in unique(unlist(lapply(checks, names))))
    check[[name]] <- pick(name, if (name %in% c("score_at_zero", "least_above_zero")) min else max)

  # balanced and complete: the classical stratum test, whatever is at zero
  balanced <- n$visits == n$sessions * n$antennas && length(unique(table(d$visit))) == 1 &&
    length(unique(table(d$mount))) == 1
  if (balanced) {
    each <- n$readings / n$visits
    mean_of <- tapply(d$value, list(d$session, d$antenna), mean)
    left <- mean_of - outer(rowMeans(mean_of), colMeans(mean_of), `+`) + mean(mean_of)
    df <- (n$sessions - 1) * (n$antennas - 1)
    se <- sqrt(2 * (each * sum(left^2) / df) / (n$sessions * each))
    check$balanced_se <- relative(kr$pairs$se_kr, se)
    check$balanced_df <- relative(kr$pairs$df_kr, df)
    if (check$balanced_se > 1e-7 || check$balanced_df > 1e-7) stop(where, ": balanced, but not the stratum test")
  }

  inference <- list(basis = rule$basis, session_fixed = rule$session_fixed, components = object(final$theta))
  if (!rule$session_fixed) inference <- c(inference, list(
    reml_criterion = final$criterion, estimates = object(final$beta)))
  inference$pairs <- kr$pairs
  if (!rule$session_fixed) inference$vcov_kr_diag <- object(setNames(diag(kr$vcov), last$m$names))

  list(check = check, path = path, season = list(
    id = id, kind = c$kind, cells = c$cells, counts = n, balanced = balanced,
    levels = names(bounded$theta), singular = singular,
    bounded = list(components = object(bounded$theta), reml_criterion = bounded$criterion,
                   estimates = object(bounded$beta)),
    inference = inference))
}

# ---------------------------------------------------------------- all of them
made <- list(); readings <- list()
for (id in seq_along(cases)) {
  set.seed(cases[[id]]$seed)
  d <- draw_season(cases[[id]])
  made[[id]] <- fit_season(id, cases[[id]], d)
  readings[[id]] <- data.frame(season_id = id, d[c("session", "antenna", "mounting")], value = sprintf("%.3f", d$value))
  message(sprintf("%2d %-26s N=%3d %s", id, cases[[id]]$kind, nrow(d), if (made[[id]]$season$singular) "singular" else ""))
}
seasons <- lapply(made, `[[`, "season")

n_of <- function(test) sum(sapply(seasons, test))
stopifnot(
  n_of(function(s) s$counts$mountings == s$counts$visits) >= 6,
  n_of(function(s) s$counts$readings == s$counts$mountings) >= 4,
  n_of(function(s) s$balanced) >= 4,
  n_of(function(s) s$balanced && isTRUE(s$bounded$components$visit == 0)) >= 2,
  n_of(function(s) s$singular) == 32,
  !anyDuplicated(sapply(seasons, `[[`, "id")),
  n_of(function(s) s$counts$visits - s$counts$sessions - s$counts$antennas + 1 > 0 && s$counts$sessions >= 2) == 54)

write.csv(do.call(rbind, readings), file.path(here, "seasons.csv"), row.names = FALSE, quote = FALSE)
writeLines(c("[", paste0(sapply(seasons, json), c(rep(",", length(seasons) - 1), "")), "]"), file.path(here, "seasons.json"))

# ---------------------------------------------------------------- what was seen
column <- function(name) sapply(made, function(r) { v <- r$check[[name]]; if (is.null(v)) NA else v })
cat("\n54 seasons,", nrow(do.call(rbind, readings)), "readings;", n_of(function(s) s$singular), "singular.\n")
cat("At zero in each fit in turn, what inference rests on, and its df:\n")
for (r in made) if (r$season$singular) {
  i <- r$season$inference
  cat(sprintf("  %2d %-22s %-34s %-9s %-14s %s  df %s\n", r$season$id, r$season$kind, r$path,
              if (i$basis == "") "-" else i$basis, if (i$session_fixed) "session fixed" else "",
              paste(names(i$components), signif(unlist(i$components), 4), collapse = " "),
              paste(signif(range(i$pairs$df_kr), 4), collapse = " to ")))
}
cat("\nBasis and session fixed:\n")
print(table(basis = sapply(seasons, function(s) s$inference$basis), session_fixed = sapply(seasons, function(s) s$inference$session_fixed)))
worst <- function(what, name, how = max) {
  v <- column(name)
  cat(sprintf("  %-66s %.1e  (season %d; %d compared)\n", what, how(v, na.rm = TRUE), which(v == how(v, na.rm = TRUE))[1], sum(!is.na(v))))
}
cat("\nWorst disagreements, over every fit on the way:\n")
worst("components, dense, from other starts (relative)", "own_component")
worst("KR standard error, dense, from other starts", "own_se")
worst("KR df, dense, from other starts", "own_df")
worst("other maxima met (number)", "other_maxima")
worst("criterion, dense - lme4 at the same components (absolute)", "criterion")
worst("estimates, dense - lme4 at the same components (absolute)", "estimates")
worst("KR standard error, dense - pbkrtest at the same components", "se")
worst("KR df, dense - pbkrtest at the same components", "df")
worst("components, lme4's stopping point - polished (relative)", "lme4_component")
worst("KR standard error, dense - pbkrtest at lme4's stopping point", "se_raw")
worst("KR df, dense - pbkrtest at lme4's stopping point", "df_raw")
worst("component, dense - weighted least squares (relative)", "ls_component")
worst("difference, dense - weighted least squares (absolute)", "ls_difference")
worst("KR standard error, dense - weighted least squares", "ls_se")
worst("KR df, dense - weighted least squares", "ls_df")
worst("balanced: KR standard error - sqrt(2 MS_visit / (S M R))", "balanced_se")
worst("balanced: KR df - (S-1)(A-1)", "balanced_df")
cat("\nNearest to the other side of zero, in standard errors:\n")
worst("a component at zero", "score_at_zero", min)
worst("a component above zero", "least_above_zero", min)
