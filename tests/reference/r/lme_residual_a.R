# Edge means whose residual variance differs by medium, blades crossed with media: REML by nlme, as it stops.
source("common.R"); suppressPackageStartupMessages(library(nlme))
d <- read.csv("means_edges_a.csv", stringsAsFactors = TRUE)
m <- lme(log_force ~ medium, d, random = ~ 1 | blade, weights = varIdent(form = ~ 1 | medium), control = lmeControl(maxIter = 500, msMaxIter = 1000, msMaxEval = 5000, niterEM = 200, tolerance = 1e-12, msTol = 1e-14, returnObject = TRUE))
times <- coef(m$modelStruct$varStruct, unconstrained = FALSE, allCoef = TRUE)
write_case(list(case = "lme_residual_a", versions = as.list(versions("nlme")), reml_criterion = -2 * as.numeric(logLik(m)), nlme = list(blade = m$sigma^2 * as.numeric(as.matrix(m$modelStruct$reStruct$blade)),
  residual = as.list((m$sigma * times)^2), fixef = as.list(fixef(m)))), "lme_residual_a.json")
