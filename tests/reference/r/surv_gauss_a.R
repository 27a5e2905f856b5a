# Right-censored normal regression of the log of the force, one cut an edge: survreg, finished by Newton steps on the log-likelihood written out
source("common.R"); suppressPackageStartupMessages(library(survival)); d <- read.csv("surv_gauss_a.csv", stringsAsFactors = TRUE); d$y <- log(d$force)
X <- model.matrix(~ medium, d); y <- d$y; over <- d$over == 1; p <- ncol(X)
fit <- function(over, event) {
  m <- survreg(Surv(y, event) ~ medium, d, dist = "gaussian", control = survreg.control(rel.tolerance = 1e-13, maxiter = 200))
  ll <- function(t) { z <- (y - drop(X %*% t[1:p])) / exp(t[p + 1]); sum(ifelse(over, pnorm(z, lower.tail = FALSE, log.p = TRUE), dnorm(z, log = TRUE) - t[p + 1])) }
  derivs <- function(t) { s <- exp(t[p + 1]); z <- (y - drop(X %*% t[1:p])) / s; h <- exp(dnorm(z, log = TRUE) - pnorm(z, lower.tail = FALSE, log.p = TRUE))
    u <- ifelse(over, h, z); v <- ifelse(over, h * (h - z), 1)                      # minus first and second derivative by the linear part, times s and s^2
    g <- c(crossprod(X, u) / s, sum(ifelse(over, h * z, z^2 - 1))); H <- matrix(0, p + 1, p + 1)
    H[1:p, 1:p] <- crossprod(X, v * X) / s^2; c1 <- ifelse(over, h * (h - z) * z + h, 2 * z) / s; H[1:p, p + 1] <- H[p + 1, 1:p] <- crossprod(X, c1)
    H[p + 1, p + 1] <- sum(ifelse(over, h * z * (1 + z * (h - z)), 2 * z^2)); list(g = g, H = H) }
  t <- c(coef(m), log(m$scale)); for (i in 1:20) { q <- derivs(t); s <- solve(q$H, q$g); t <- t + s; if (max(abs(s)) < 1e-14) break }
  V <- solve(derivs(t)$H); best <- ll(t); stopifnot(abs(best - as.numeric(logLik(m))) < 1e-9)
  profile_limit <- function(j, side) { f <- function(b) { o <- t[-j]; for (i in 1:60) { full <- append(o, b, j - 1); q <- derivs(full); s <- solve(q$H[-j, -j], q$g[-j]); o <- o + s; if (max(abs(s)) < 1e-13) break }; 2 * (best - ll(append(o, b, j - 1))) - qchisq(.95, 1) }
    far <- t[j] + side * 2 * sqrt(V[j, j]); while (f(far) < 0) far <- far + side * sqrt(V[j, j]); uniroot(f, sort(c(t[j], far)), tol = 1e-12)$root }
  list(n = nrow(d), over_range = sum(over), loglik = best, coefficients = data.frame(term = c(colnames(X), "log_scale"), estimate = unname(t), se = sqrt(diag(V)), row.names = NULL), scale = exp(unname(t[p + 1])),
    vcov = unname(V), survreg_max_difference = max(abs(t - c(coef(m), log(m$scale)))), survreg_vcov_max_relative = max(abs(vcov(m) - V) / sqrt(tcrossprod(diag(V)))),
    profile_ci = lapply(2:p, function(j) list(term = colnames(X)[j], lower = profile_limit(j, -1), upper = profile_limit(j, 1))))
}
write_case(list(case = "surv_gauss_a", versions = as.list(versions("survival")), censored = fit(over, 1 - d$over), as_if_read = fit(rep(FALSE, nrow(d)), rep(1, nrow(d)))), "surv_gauss_a.json")
