# Differences of differences: does the difference of two media depend on the operator? emmeans' interaction contrasts by Kenward-Roger,
# with tests against zero and of equivalence; once more with the model's covariance written out
source("lmm_common.R"); d <- read.csv("lmm_gap_a.csv", stringsAsFactors = TRUE); d$log_force <- log(d$force); MARGIN <- log(1.15)
f <- log_force ~ medium * operator + (1 | blade) + (1 | blade:medium) + (1 | blade:medium:operator) + (1 | edge)
ctl <- lmerControl(check.conv.singular = "ignore", check.conv.grad = "ignore", check.conv.hess = "ignore", calc.derivs = FALSE); ctl0 <- ctl; ctl0["optimizer"] <- list(NULL)
raw <- suppressMessages(lme4::lmer(f, d, control = ctl)); dev <- lme4::lmer(f, d, devFunOnly = TRUE, control = ctl)
th <- unname(exact_theta(raw, polish(dev, getME(raw, "theta"), getME(raw, "lower")))); m <- suppressMessages(suppressWarnings(lme4::lmer(f, d, start = th, control = ctl0)))
stopifnot(max(abs(getME(m, "theta") - th)) < 1e-12)
e <- emmeans(m, ~ medium * operator, lmer.df = "kenward-roger"); g <- contrast(e, interaction = "pairwise")
p <- function(...) as.data.frame(test(g, adjust = "none", ...))$p.value; z <- as.data.frame(confint(g, level = .9, adjust = "none"))
pairs_at <- as.data.frame(confint(pairs(e, by = "operator"), level = .9, adjust = "none"))
row <- function(x) data.frame(x, check.names = FALSE, stringsAsFactors = FALSE)
X <- getME(m, "X"); G <- c(lapply(getME(m, "Ztlist"), function(z) as.matrix(crossprod(z))), list(diag(nrow(X)))); s2 <- c(th^2, 1) * sigma(m)^2
L <- g@linfct; dn <- kr_dense(unname(getME(m, "y")), unname(X), G, s2, list()); own <- apply(L, 1, function(l) dn$kr1(l)[["ddf"]])
write_case(list(case = "lmm_gap_a", model_lme4 = paste(deparse(f, 500), collapse = ""), versions = as.list(versions(c("lme4", "pbkrtest", "emmeans", "Matrix"))), margin = MARGIN,
  criterion = REMLcrit(m), varcomp = data.frame(component = as.data.frame(VarCorr(m))$grp, var = as.data.frame(VarCorr(m))$vcov),
  gaps = row(list(contrast = as.character(z$medium_pairwise), levels = as.character(z$operator_pairwise), estimate = z$estimate, se = z$SE, df = z$df, lower_90 = z$lower.CL, upper_90 = z$upper.CL,
    p_zero = p(), p_equivalence = p(delta = MARGIN, side = "equivalence"))),
  differences = row(list(contrast = as.character(pairs_at$contrast), operator = as.character(pairs_at$operator), estimate = pairs_at$estimate, se = pairs_at$SE, df = pairs_at$df, lower_90 = pairs_at$lower.CL, upper_90 = pairs_at$upper.CL)),
  second_opinion_max_differences = list(kr_df_rel = max(abs(own - z$df) / z$df))), "lmm_gap_a.json")
