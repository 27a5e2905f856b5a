# Writes the CSV files of this folder: public sets from the R packages named, invented ones with fixed seeds. Rscript make_data.R
suppressPackageStartupMessages({library(lme4); library(nlme)}); RNGkind("Mersenne-Twister", "Inversion", "Rejection")
w <- function(d, f) write.csv(as.data.frame(d), f, row.names = FALSE, quote = FALSE)
w(lme4::Dyestuff, "lmm_dyestuff.csv"); w(lme4::Penicillin, "lmm_penicillin.csv")
o <- as.data.frame(nlme::Oats); o$Block <- paste0("B", as.character(o$Block)); o$Variety <- gsub(" ", "_", as.character(o$Variety)); w(o[c("Block", "Variety", "nitro", "yield")], "lmm_oats.csv")
e <- as.data.frame(nlme::ergoStool); e$Subject <- sprintf("S%s", as.character(e$Subject)); e$Type <- as.character(e$Type); w(e[c("Subject", "Type", "effort")], "lmm_ergostool.csv")

## simulated trial A: 4 media crossed with 6 blades, 2-4 edges per blade x medium (3 cells missing), 2-6 readings per edge
set.seed(20241)
cell <- expand.grid(medium = c("A_ref", "B", "C", "D"), blade = sprintf("K%d", 1:6), stringsAsFactors = FALSE)
cell <- cell[-sample(nrow(cell), 3), ]; cell$ne <- sample(2:4, nrow(cell), TRUE)
e <- cell[rep(seq_len(nrow(cell)), cell$ne), c("medium", "blade")]; e$edge <- sprintf("E%03d", seq_len(nrow(e)))
b <- setNames(rnorm(6, 0, .10), sprintf("K%d", 1:6)); mu <- c(A_ref = 5.00, B = 5.06, C = 5.15, D = 4.92)
e$eta <- mu[e$medium] + b[e$blade] + rnorm(nrow(e), 0, .12); nr <- sample(2:6, nrow(e), TRUE)
d <- e[rep(seq_len(nrow(e)), nr), ]; d$reading <- sequence(nr); d$force <- round(exp(d$eta + rnorm(nrow(d), 0, .18)), 1)
w(d[c("medium", "blade", "edge", "reading", "force")], "lmm_simtrial_a.csv")
d$log_force <- log(d$force); a <- aggregate(log_force ~ medium + blade + edge, d, mean); a$log_force <- sprintf("%.15g", a$log_force); w(a, "means_edges_a.csv")

## five groups for the variance tests
set.seed(20244); n <- c(8, 9, 7, 10, 8); w(data.frame(group = rep(LETTERS[1:5], n), value = round(rnorm(sum(n), rep(c(150, 155, 160, 149, 170), n), rep(c(6, 9, 14, 7, 11), n)), 2)), "variances_a.csv")
## p values (two ties, one very small, one 1)
set.seed(20245); w(data.frame(test = sprintf("T%02d", 1:14), p = c(.00004, .0031, .0031, .012, .0205, .0205, round(sort(runif(7, .02, .9)), 4), 1)[sample(14)]), "multiplicity_a.csv")

## edges that spread differently by medium: every blade with every medium, 3 edges a cell, 3 cuts an edge; then the same with gaps
spread <- function(seed, edges, cuts, gap, file) {
  set.seed(seed); cell <- expand.grid(blade = sprintf("K%d", 1:5), medium = c("film", "plate", "slate"), stringsAsFactors = FALSE)
  if (gap) cell <- cell[-sample(nrow(cell), 2), ]
  ne <- if (length(edges) == 1) rep(edges, nrow(cell)) else sample(edges, nrow(cell), TRUE); e <- cell[rep(seq_len(nrow(cell)), ne), ]; e$edge <- sprintf("E%03d", seq_len(nrow(e)))
  b <- setNames(rnorm(5, 0, .15), sprintf("K%d", 1:5)); sd <- c(film = .12, plate = .18, slate = .30); mu <- c(film = 5.0, plate = 5.1, slate = 5.2)
  e$eta <- mu[e$medium] + b[e$blade] + rnorm(nrow(e), 0, sd[e$medium]); nc <- if (length(cuts) == 1) rep(cuts, nrow(e)) else sample(cuts, nrow(e), TRUE)
  d <- e[rep(seq_len(nrow(e)), nc), ]; d$cut <- sequence(nc); d$force <- round(exp(d$eta + rnorm(nrow(d), 0, .08)), 1)
  w(d[c("medium", "blade", "edge", "cut", "force")], file)
}
spread(20246, 3, 3, FALSE, "lme_spread_a.csv"); spread(20247, 2:4, 2:5, TRUE, "lme_spread_b.csv")

## single cuts beyond the tester's range: one cut an edge, log of the force, right-censored at ln 180
set.seed(20248); d <- data.frame(medium = rep(c("film", "plate", "slate"), each = 12)); y <- round(exp(c(film = 4.8, plate = 4.95, slate = 5.1)[d$medium] + rnorm(36, 0, .25)), 1)
d$over <- as.integer(y > 180); d$force <- pmin(y, 180); w(d[c("medium", "force", "over")], "surv_gauss_a.csv")

## three media by two operators on every blade, unbalanced: 2 cells of a blade empty, 1 to 3 edges a cell, 1 to 4 cuts an edge
set.seed(20249); cell <- expand.grid(blade = sprintf("K%d", 1:5), operator = c("learner", "practised"), medium = c("film", "plate", "slate"), stringsAsFactors = FALSE)
cell <- cell[-sample(nrow(cell), 2), ]; e <- cell[rep(seq_len(nrow(cell)), sample(1:3, nrow(cell), TRUE)), ]; e$edge <- sprintf("E%03d", seq_len(nrow(e)))
b <- setNames(rnorm(5, 0, .15), sprintf("K%d", 1:5)); bm <- setNames(rnorm(15, 0, .08), paste(rep(names(b), 3), rep(c("film", "plate", "slate"), each = 5)))
mu <- c(film = 4.9, plate = 5.0, slate = 5.05)[e$medium] + ifelse(e$operator == "learner", .05, 0) + ifelse(e$operator == "learner" & e$medium == "slate", .15, 0)
bmo <- setNames(rnorm(nrow(cell), 0, .1), do.call(paste, cell)); e$eta <- mu + b[e$blade] + bm[paste(e$blade, e$medium)] + bmo[do.call(paste, e[names(cell)])] + rnorm(nrow(e), 0, .08); nc <- sample(1:4, nrow(e), TRUE)
d <- e[rep(seq_len(nrow(e)), nc), ]; d$cut <- sequence(nc); d$force <- round(exp(d$eta + rnorm(nrow(d), 0, .08)), 1)
w(d[c("medium", "operator", "blade", "edge", "cut", "force")], "lmm_gap_a.csv")

## a tester study: 4 operators on 7 edges, 3 days, 3 cells empty, 1 to 4 cuts a cell
set.seed(20251); cell <- expand.grid(operator = sprintf("P%d", 1:4), edge = sprintf("E%d", 1:7), stringsAsFactors = FALSE); cell <- cell[-sample(nrow(cell), 3), ]
o <- setNames(rnorm(4, 0, .08), sprintf("P%d", 1:4)); e <- setNames(rnorm(7, 0, .2), sprintf("E%d", 1:7)); oe <- rnorm(nrow(cell), 0, .07); nc <- sample(1:4, nrow(cell), TRUE)
d <- cell[rep(seq_len(nrow(cell)), nc), ]; d$cut <- sequence(nc); d$day <- sprintf("D%d", sample(1:3, nrow(d), TRUE)); day <- setNames(rnorm(3, 0, .06), sprintf("D%d", 1:3))
d$force <- round(exp(5 + o[d$operator] + e[d$edge] + rep(oe, nc) + day[d$day] + rnorm(nrow(d), 0, .07)), 1); w(d, "lmm_tester_a.csv")
