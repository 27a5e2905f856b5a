source("lme_spread_common.R"); spread_case("lme_spread_b")
