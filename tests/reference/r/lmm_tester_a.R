source("lmm_common.R"); d <- read.csv("lmm_tester_a.csv", stringsAsFactors = TRUE); d$log_force <- log(d$force)
lmm_case("lmm_tester_a", log_force ~ 1 + (1 | operator) + (1 | edge) + (1 | operator:edge) + (1 | day), d, title = "a tester study: crossed, unbalanced, with days; log of the force")
