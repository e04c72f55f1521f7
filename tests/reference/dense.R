# Dense REML and Kenward-Roger, written from the paper and nothing else:
# M. G. Kenward and J. H. Roger (1997), Small sample inference for fixed effects
# from restricted maximum likelihood, Biometrics 53, 983-997.
#
# Read by seasons.R and published.R. Every matrix is N x N and formed outright: slow
# and plain, because it has to be right and has to share nothing with what it checks.
#
#   y = X beta + e,   V = cov(y) = sum_k theta_k G_k,   G_k = Z_k Z_k',
#   last G = identity, or with known weights diag(1 / weight)
#
# theta_k may be negative wherever V stays positive definite.

# A model: `groups` is a named list of grouping vectors, outermost level first; the
# residual level, named by `residual`, is added. X has one indicator column a level of
# `fixed`, then one for each level but the first of `block`, if there is one.
dense_model <- function(y, fixed, groups, residual = "reading", weight = rep(1, length(y)), block = NULL) {
  if (!is.factor(fixed)) fixed <- factor(fixed, levels = sort(unique(fixed)))
  names <- levels(fixed)
  X <- outer(as.integer(fixed), seq_along(names), "==") * 1
  colnames(X) <- names
  shift <- as.vector(tapply(y, fixed, mean))
  if (!is.null(block)) {
    others <- sort(unique(block))[-1]
    X <- cbind(X, matrix(outer(block, others, "==") * 1, length(y), dimnames = list(NULL, others)))
  }
  index <- lapply(groups, function(g) match(g, unique(g)))
  index[[residual]] <- seq_along(y)
  scale <- lapply(index, function(g) rep(1, length(y)))                    # Z_k = scale x indicator
  scale[[residual]] <- 1 / sqrt(weight)
  G <- Map(function(g, s) outer(g, g, "==") * outer(s, s), index, scale)
  # REML does not see X beta, so the cell means are taken out first (fewer digits lost)
  # and put back into the estimates.
  shift <- c(shift, rep(0, ncol(X) - length(shift)))
  list(y = y - as.vector(X %*% shift), X = X, names = names, index = index, scale = scale, G = G, shift = shift)
}

# Everything at one theta; NULL where V is not positive definite.
dense_at <- function(m, theta) {
  V <- Reduce(`+`, Map(`*`, theta, m$G))
  R <- tryCatch(chol(V), error = function(e) NULL)
  if (is.null(R) || min(diag(R)) < 1e-7 * max(diag(R))) return(NULL)
  Vi <- chol2inv(R)
  B <- Vi %*% m$X
  A <- crossprod(m$X, B)
  Phi <- solve(A)
  Phi <- (Phi + t(Phi)) / 2
  P <- Vi - B %*% Phi %*% t(B)
  Py <- as.vector(P %*% m$y)
  K <- length(theta)
  n <- length(m$y); p <- ncol(m$X)
  # minus twice the restricted log-likelihood, with every constant but log|X'X|
  criterion <- (n - p) * log(2 * pi) + 2 * sum(log(diag(R))) +
    as.numeric(determinant(A)$modulus) + sum(m$y * Py)
  half <- Map(function(g, s) rowsum(P * s, g, reorder = FALSE), m$index, m$scale)   # Z_k' P
  GPy <- lapply(m$G, function(g) as.vector(g %*% Py))
  PGPy <- lapply(GPy, function(v) as.vector(P %*% v))
  score <- numeric(K); expected <- observed <- matrix(0, K, K)
  for (k in seq_len(K)) {
    trace <- sum(half[[k]] * t(m_indicator(m$index[[k]]) * m$scale[[k]]))  # tr(P G_k)
    score[k] <- -trace / 2 + sum(Py * GPy[[k]]) / 2
    for (l in seq_len(k)) {
      # tr(P G_k P G_l) = || Z_k' P Z_l ||^2
      t2 <- sum(rowsum(t(half[[k]]) * m$scale[[l]], m$index[[l]], reorder = FALSE)^2)
      expected[k, l] <- expected[l, k] <- t2 / 2
      observed[k, l] <- observed[l, k] <- -t2 / 2 + sum(GPy[[k]] * PGPy[[l]])
    }
  }
  list(theta = theta, criterion = criterion, score = score, expected = expected,
       observed = observed, Phi = Phi, Vi = Vi, B = B,
       beta = as.vector(Phi %*% crossprod(B, m$y)) + m$shift)
}

m_indicator <- function(g) outer(g, seq_len(max(g)), "==") * 1

# Maximise over theta[free], the other components held at 0. Newton where the observed
# information is positive definite, else Fisher scoring; steps halved until V is positive
# definite and the criterion falls. The measure of convergence is free of units:
# sqrt(score' expected^-1 score), the step's length in standard errors of theta.
dense_fit <- function(m, start, free = rep(TRUE, length(start)), goal = 1e-10, enough = 1e-9) {
  at <- dense_at(m, start)
  if (is.null(at)) return(NULL)
  best <- NULL; stale <- 0
  for (round in 1:200) {
    g <- at$score[free]
    I <- at$expected[free, free, drop = FALSE]
    length_se <- sqrt(max(0, sum(g * solve(I, g))))
    if (is.null(best) || length_se < best$length_se) { best <- at; best$length_se <- length_se; stale <- 0 }
    else stale <- stale + 1
    if (best$length_se < goal || (best$length_se < enough && stale >= 2)) break
    J <- at$observed[free, free, drop = FALSE]
    J <- if (all(eigen(J, symmetric = TRUE, only.values = TRUE)$values > 0)) J else I
    step <- numeric(length(start)); step[free] <- solve(J, g)
    size <- 1; following <- NULL
    while (size > 1e-12) {
      following <- dense_at(m, at$theta + size * step)
      if (!is.null(following) && (length_se < 1e-5 || following$criterion < at$criterion)) break
      following <- NULL
      size <- size / 2
    }
    if (is.null(following)) break
    at <- following
  }
  if (best$length_se > enough) return(NULL)
  J <- best$observed[free, free, drop = FALSE]
  if (any(eigen(J, symmetric = TRUE, only.values = TRUE)$values <= 0)) return(NULL)   # not a maximum
  names(best$theta) <- names(m$G)
  names(best$beta) <- colnames(m$X)
  best
}

# Kenward-Roger at a fit: adjusted covariance of beta, and for every pair of levels of `fixed`
# the difference (first minus second), both standard errors and the degrees of freedom.
dense_kr <- function(m, fit) {
  K <- length(m$G)
  Phi <- fit$Phi
  W <- solve(fit$expected)
  GB <- lapply(m$G, function(g) g %*% fit$B)                     # G_k V^-1 X
  P <- lapply(GB, function(h) -crossprod(fit$B, h))              # -X'V^-1 G_k V^-1 X
  inner <- matrix(0, nrow(Phi), ncol(Phi))
  for (k in seq_len(K)) for (l in seq_len(K)) {
    Q <- crossprod(GB[[k]], fit$Vi %*% GB[[l]])                  # X'V^-1 G_k V^-1 G_l V^-1 X
    inner <- inner + W[k, l] * (Q - P[[k]] %*% Phi %*% P[[l]])
  }
  adjusted <- Phi + 2 * Phi %*% inner %*% Phi
  adjusted <- (adjusted + t(adjusted)) / 2
  names <- m$names
  pairs <- list()
  for (i in seq_along(names)) for (j in seq_along(names)) if (i < j) {
    L <- numeric(ncol(m$X)); L[i] <- 1; L[j] <- -1
    v <- sum(L * (Phi %*% L))
    g <- sapply(P, function(p) sum(L * (Phi %*% p %*% Phi %*% L)))
    pairs[[length(pairs) + 1]] <- data.frame(
      first = names[i], second = names[j],
      difference = fit$beta[[i]] - fit$beta[[j]],
      se_model = sqrt(v),
      se_kr = sqrt(sum(L * (adjusted %*% L))),
      df_kr = 2 * v^2 / sum(g * (W %*% g)))
  }
  list(vcov = adjusted, pairs = do.call(rbind, pairs))
}

# The same figures from pbkrtest, for a fit by lme4 with the same columns of X (those of
# `names` first).
pbkrtest_pairs <- function(fit, names) {
  adjusted <- pbkrtest::vcovAdj(fit)
  Phi <- vcov(fit)
  rows <- list()
  for (i in seq_along(names)) for (j in seq_along(names)) if (i < j) {
    L <- numeric(ncol(Phi)); L[i] <- 1; L[j] <- -1
    rows[[length(rows) + 1]] <- data.frame(
      first = names[i], second = names[j],
      se_kr = sqrt(sum(L * as.vector(adjusted %*% L))),
      df_kr = pbkrtest::Lb_ddf(L, Phi, adjusted))
  }
  do.call(rbind, rows)
}

# An lme4 fit put at given components (a named vector of variances, residual last),
# so that what is compared does not depend on where an optimiser stopped.
lmer_at <- function(formula, data, components) {
  parts <- if (is.null(data$weight)) lme4::lFormula(formula, data, REML = TRUE)
           else lme4::lFormula(formula, data, REML = TRUE, weights = weight)
  devfun <- do.call(lme4::mkLmerDevfun, parts)
  order <- names(parts$reTrms$cnms)
  theta <- unname(sqrt(components[order] / components[[length(components)]]))
  value <- devfun(theta)
  lme4::mkMerMod(environment(devfun), list(par = theta, fval = value, conv = 0, message = "as given"),
                 parts$reTrms, fr = parts$fr)
}

# lme4's own optimum, both optimisers at tight tolerances, the better of the two.
# A column `weight` in the data is taken as known weights.
lmer_tight <- function(formula, data) {
  controls <- list(
    lme4::lmerControl(optimizer = "nloptwrap", calc.derivs = FALSE,
                      optCtrl = list(xtol_abs = 1e-12, xtol_rel = 1e-12, ftol_abs = 1e-14, ftol_rel = 1e-14, maxeval = 20000)),
    lme4::lmerControl(optimizer = "bobyqa", calc.derivs = FALSE, optCtrl = list(rhoend = 1e-12, maxfun = 20000)))
  fits <- lapply(controls, function(control)
    suppressMessages(suppressWarnings(
      if (is.null(data$weight)) lme4::lmer(formula, data, REML = TRUE, control = control)
      else lme4::lmer(formula, data, REML = TRUE, weights = weight, control = control))))
  fits[[which.min(sapply(fits, lme4::REMLcrit))]]
}

lmer_components <- function(fit, levels) {
  v <- as.data.frame(lme4::VarCorr(fit))
  out <- v$vcov[match(levels, v$grp)]
  out[length(levels)] <- stats::sigma(fit)^2
  setNames(out, levels)
}

relative <- function(a, b) max(abs(a - b) / abs(b))

# JSON with 15 significant digits.
json <- function(x) jsonlite::toJSON(x, digits = NA, auto_unbox = TRUE, dataframe = "rows")

# A vector with names as a JSON object.
object <- function(v) as.list(v)
