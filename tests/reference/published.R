# Reference values from published data sets.
#
#   Rscript tests/reference/published.R          (from the project's root)
#
# remakes published.json from the CSV files beside it (README.md names the source of each).
# Made with R 4.2.2, lme4 1.1-31, pbkrtest 0.5.2, emmeans 1.8.4-1, jsonlite 1.8.4.
#
# The values may be made again only when a case is added or changed, and never to make a
# failing test pass.
#
# REML components: lme4, polished by Newton (nested and one-level cases) on dense.R's
# criterion. Kenward-Roger pairs: dense.R, which emmeans with pbkrtest must match.

Sys.setenv(OMP_NUM_THREADS = "1", OPENBLAS_NUM_THREADS = "1")
suppressPackageStartupMessages({ library(lme4); library(pbkrtest); library(emmeans); library(jsonlite) })
here <- dirname(sub("^--file=", "", grep("^--file=", commandArgs(), value = TRUE)[1]))
source(file.path(here, "dense.R"))
read <- function(name) read.csv(file.path(here, paste0(name, ".csv")))

# The copies agree with those that R and its packages carry, where they carry one.
same <- function(a, b) stopifnot(isTRUE(all.equal(as.numeric(a), as.numeric(b), tolerance = 0)))
same(sort(read("dyestuff")$Yield), sort(lme4::Dyestuff$Yield))
same(read("penicillin")$diameter, lme4::Penicillin$diameter)
same(read("pastes")$strength, lme4::Pastes$strength)
same(read("ergostool")$effort, nlme::ergoStool$effort)
same(read("warpbreaks")$breaks, datasets::warpbreaks$breaks)

out <- list(); worst <- c(criterion = 0, components = 0, estimates = 0, se = 0, df = 0, adjusted = 0)

# One case: y, fixed factor (or none), grouping vectors outermost first.
fit_case <- function(model, y, fixed, groups, pairs, residual = "residual") {
  if (is.null(fixed)) fixed <- factor(rep("mean", length(y)))
  m <- dense_model(y, fixed, groups, residual)
  levels <- names(m$G)
  data <- data.frame(value = y, fixed = fixed, as.data.frame(groups))
  right <- paste0("(1 | ", names(groups), ")", collapse = " + ")
  formula <- as.formula(paste("value ~", if (nlevels(fixed) > 1) "0 + fixed" else "1", "+", right))
  start <- lmer_components(lmer_tight(formula, data), levels)
  fit <- dense_fit(m, start)
  if (is.null(fit) || any(fit$theta <= 0)) stop(model, ": no regular maximum")
  polished <- lmer_at(formula, data, fit$theta)
  worst[["criterion"]] <<- max(worst[["criterion"]], abs(fit$criterion - REMLcrit(polished)))
  worst[["components"]] <<- max(worst[["components"]], relative(start, fit$theta))
  worst[["estimates"]] <<- max(worst[["estimates"]], relative(fit$beta, fixef(polished)))
  kr <- dense_kr(m, fit)
  result <- list(model = model, components = object(fit$theta), reml_criterion = fit$criterion,
                 estimates = object(fit$beta), vcov_kr_diag = object(setNames(diag(kr$vcov), names(fit$beta))))
  if (pairs) {
    other <- pbkrtest_pairs(polished, names(fit$beta))
    worst[["se"]] <<- max(worst[["se"]], relative(kr$pairs$se_kr, other$se_kr))
    worst[["df"]] <<- max(worst[["df"]], relative(kr$pairs$df_kr, other$df_kr))
    # emmeans, the whole road from formula to table, at lme4's own optimum
    whole <- lmer_tight(update(formula, . ~ . - 0 + 1), data)
    table <- as.data.frame(summary(contrast(emmeans(whole, "fixed", lmer.df = "kenward-roger", data = data), "pairwise"), adjust = "none"))
    stopifnot(relative(table$estimate + 100, kr$pairs$difference + 100) < 1e-6,
              relative(table$SE, kr$pairs$se_kr) < 1e-5, relative(table$df, kr$pairs$df_kr) < 1e-3)
    worst[["adjusted"]] <<- max(worst[["adjusted"]], relative(table$SE, kr$pairs$se_kr), relative(table$df, kr$pairs$df_kr))
    result$pairs <- kr$pairs
  }
  result
}

d <- read("dyestuff")
out$dyestuff <- fit_case("Yield ~ 1 + (1 | Batch)", d$Yield, NULL, list(Batch = d$Batch), FALSE)

d <- read("penicillin")
out$penicillin <- fit_case("diameter ~ 1 + (1 | plate) + (1 | sample)", d$diameter, NULL,
                           list(plate = d$plate, sample = d$sample), FALSE)

d <- read("pastes")
out$pastes <- fit_case("strength ~ 1 + (1 | batch) + (1 | sample)", d$strength, NULL,
                       list(batch = d$batch, sample = d$sample), FALSE)

d <- read("pbib")
out$pbib <- fit_case("response ~ Treatment + (1 | Block)", d$response, factor(d$Treatment, levels = 1:15),
                     list(Block = d$Block), TRUE)

d <- read("ergostool")
out$ergostool <- fit_case("effort ~ Type + (1 | Subject)", d$effort, factor(d$Type), list(Subject = d$Subject), TRUE)

# warpbreaks has no random level: Tukey's simultaneous intervals for tension, in the
# two-way model, by the studentised range. first minus second; exact to R's ptukey.
d <- read("warpbreaks")
d$tension <- factor(d$tension, levels = c("L", "M", "H")); d$wool <- factor(d$wool)
a <- aov(breaks ~ wool + tension, d)
ms <- deviance(a) / df.residual(a)
rows <- list(c("L", "M"), c("L", "H"), c("M", "H"))
mean_of <- tapply(d$breaks, d$tension, mean)
n <- 18
stopifnot(all(table(d$tension) == n))
out$warpbreaks <- list(
  model = "breaks ~ wool + tension", residual_variance = ms, df = df.residual(a),
  pairs = do.call(rbind, lapply(rows, function(r) {
    difference <- mean_of[[r[1]]] - mean_of[[r[2]]]
    se <- sqrt(2 * ms / n)
    half <- qtukey(0.95, 3, df.residual(a)) / sqrt(2) * se
    data.frame(first = r[1], second = r[2], difference = difference, se = se,
               p_adjusted = ptukey(sqrt(2) * abs(difference) / se, 3, df.residual(a), lower.tail = FALSE),
               low = difference - half, high = difference + half)
  })))
tukey <- TukeyHSD(a, "tension")$tension[c("M-L", "H-L", "H-M"), ]
stopifnot(max(abs(-tukey[, "diff"] - out$warpbreaks$pairs$difference)) < 1e-9,
          max(abs(tukey[, "p adj"] - out$warpbreaks$pairs$p_adjusted)) < 1e-6)

# The REML values usually reprinted with these data, to the digits given here.
printed <- function(x, value, digits) if (abs(x - value) > 0.5001 * 10^-digits) stop("not the usual value: ", x, " for ", value)
printed(out$dyestuff$components$Batch, 1764.05, 2)
printed(out$dyestuff$components$residual, 2451.25, 2)
printed(out$pbib$components$Block, 0.04652, 5)
printed(out$pbib$components$residual, 0.08556, 5)
printed(sqrt(out$ergostool$components$Subject), 1.3325, 4)
printed(sqrt(out$ergostool$components$residual), 1.1003, 4)

writeLines(c("{", paste0(sapply(names(out), function(name) paste0("\"", name, "\":", json(out[[name]]))),
                         c(rep(",", length(out) - 1), "")), "}"), file.path(here, "published.json"))

cat("\nComponents:\n")
for (name in names(out)) if (!is.null(out[[name]]$components)) {
  v <- unlist(out[[name]]$components)
  cat(sprintf("  %-11s %s\n", name, paste(names(v), signif(v, 8), collapse = "  ")))
}
cat("\nWorst disagreements (relative, the criterion absolute):\n")
labels <- c(criterion = "criterion, dense - lme4 at the same components", components = "components, lme4's stopping point - polished",
            estimates = "estimates, dense - lme4", se = "KR standard error, dense - pbkrtest", df = "KR df, dense - pbkrtest",
            adjusted = "KR standard error and df, dense - emmeans at lme4's stopping point")
for (name in names(worst)) cat(sprintf("  %-66s %.1e\n", labels[[name]], worst[[name]]))
