# Shared helper of the lme_spread_*.R scripts: edge variance of its own for each medium, one cut variance, blades crossed with media.
# nlme fits it (random = blade, and within it edge with a diagonal matrix by medium); its variances are then finished by Newton steps on the dense criterion.
source("common.R"); suppressPackageStartupMessages(library(nlme))

spread_case <- function(name) {
  d <- read.csv(paste0(name, ".csv"), stringsAsFactors = TRUE); d$y <- log(d$force); media <- levels(d$medium); k <- length(media)
  m <- lme(y ~ medium, d, random = list(blade = ~1, edge = pdDiag(~ medium - 1)), control = lmeControl(opt = "optim", maxIter = 500, msMaxIter = 500, reltol = 1e-12, msTol = 1e-12, tolerance = 1e-12, returnObject = TRUE))
  vc <- VarCorr(m); from_nlme <- suppressWarnings(as.numeric(vc[, "Variance"])); from_nlme <- from_nlme[!is.na(from_nlme)]      # blade, edge by medium, residual
  X <- model.matrix(~ medium, d); y <- d$y; Zb <- model.matrix(~ blade - 1, d); Ze <- model.matrix(~ edge - 1, d)
  edge_of <- lapply(media, function(a) tcrossprod(Ze) * tcrossprod(d$medium == a)); names(edge_of) <- media
  G <- c(list(blade = tcrossprod(Zb)), edge_of, list(cut = diag(nrow(d))))
  crit <- function(G, s2) { V <- Reduce(`+`, Map(`*`, G, s2)); C <- chol(V); Vi <- chol2inv(C); XtViX <- crossprod(X, Vi %*% X); b <- solve(XtViX, crossprod(X, Vi %*% y)); r <- y - X %*% b
    2 * sum(log(diag(C))) + as.numeric(determinant(XtViX)$modulus) + drop(crossprod(r, Vi %*% r)) + (nrow(X) - ncol(X)) * log(2 * pi) }
  settle <- function(G, start) {                                     # Newton where that leads down, else a general optimiser on log variances first
    newton <- function(v) tryCatch({ n <- newton_variances(y, X, G, v); if (all(n > 0) && crit(G, n) <= crit(G, v)) n }, error = function(e) NULL)
    safe <- function(l) tryCatch(crit(G, exp(l)), error = function(e) 1e10)
    n <- newton(start); if (!is.null(n)) return(n)
    v <- exp(nlminb(log(start), safe, control = list(rel.tol = 1e-14, x.tol = 1e-12, iter.max = 1000, eval.max = 2000))$par)
    n <- newton(v); if (is.null(n)) v else n }
  s2 <- settle(G, from_nlme); best <- crit(G, s2); stopifnot(best <= crit(G, from_nlme) + 1e-9)
  one <- list(blade = G$blade, edge = Reduce(`+`, edge_of), cut = G$cut); s1 <- settle(one, c(s2[1], mean(s2[1 + seq_len(k)]), s2[k + 2]))   # the same edge variance for all
  ## profile limits of the ratio of the SDs of two media: with the ratio held at r, edge_a + edge_b / r^2 are one component
  profiled <- function(a, b) {
    rest <- setdiff(media, c(a, b)); held <- function(r) c(list(blade = G$blade, both = edge_of[[a]] + edge_of[[b]] / r^2), edge_of[rest], list(cut = G$cut))
    start <- c(s2[1], s2[1 + match(a, media)], s2[1 + match(rest, media)], s2[k + 2])
    at <- function(r) { start <<- settle(held(r), start); crit(held(r), start) - best - qchisq(.95, 1) }
    ratio <- sqrt(s2[1 + match(a, media)] / s2[1 + match(b, media)]); first <- start
    limit <- function(f) { start <<- first; x <- ratio * f; while (at(x) < 0) { x <- x * f; if (x / ratio < 1e-3) return(0) }; uniroot(at, sort(c(x / f, x)), tol = 1e-12)$root }
    list(sd_of = a, over_sd_of = b, ratio = ratio, lower = limit(.8), upper = limit(1.25))
  }
  L <- rbind(cbind(0, diag(k - 1))); dn <- kr_dense(y, X, G, s2, list(L)); rows <- diag(k)
  kr <- lapply(seq_len(k), function(i) { z <- dn$kr1(rows[i, ]); se <- sqrt(drop(rows[i, ] %*% dn$vcov_adj %*% rows[i, ])); list(term = colnames(X)[i], estimate = dn$beta[i], se = se, df = unname(z["ddf"]), p = unname(z["p"])) })
  cb <- combn(media, 2)
  res <- list(case = name, model = "log(force) ~ medium, random blade, random edge with a variance for each medium, one cut variance; REML", versions = as.list(versions("nlme")), n_obs = nrow(d),
    edges = as.list(tapply(d$edge, d$medium, function(e) length(unique(e)))), reml_criterion = best, variances = data.frame(component = names(G), var = s2, sd = sqrt(s2)),
    nlme = list(variances = from_nlme, largest_relative_difference = max(abs(from_nlme - s2) / s2), reml_loglik = as.numeric(logLik(m))),
    one_edge_variance = list(reml_criterion = crit(one, s1), variances = data.frame(component = names(one), var = s1), chisq = crit(one, s1) - best, df = k - 1, p = pchisq(crit(one, s1) - best, k - 1, lower.tail = FALSE)),
    coefficients = kr, vcov = mat(dn$vcov), vcov_adjusted_kr = mat(dn$vcov_adj), medium_kr = as.list(dn$kr[[1]]),
    information_of_variances = list(order = names(G), expected = unname(dn$info_expected), observed = unname(dn$info_observed)),
    profile_ci_sd_ratio = lapply(seq_len(ncol(cb)), function(i) profiled(cb[1, i], cb[2, i])))
  write_case(res, paste0(name, ".json")); cat(name, "written; nlme and the dense criterion differ by", res$nlme$largest_relative_difference, "\n")
}
