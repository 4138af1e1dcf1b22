# Computes anew the figures that the tests of this folder mark "survreg", with R's survival package.
#
#   Rscript recompute.R FOLDER
#
# FOLDER holds the published data sets. Prints CSV: case,quantity,value. Lives are Weibull,
# S(m) = exp(-(m / scale)^shape); survreg's own scale is 1 / shape, its intercept log scale.
suppressPackageStartupMessages(library(survival))

folder <- commandArgs(trailingOnly = TRUE)[1]
data_set <- function(name) read.csv(file.path(folder, name))

say <- function(case, quantity, value) {
  cat(sprintf("%s,%s,%.12g\n", case, quantity, value))
}

weibull <- function(case, lives, weight = NULL) {
  control <- survreg.control(rel.tolerance = 1e-13, maxiter = 300)
  frame <- data.frame(weight = if (is.null(weight)) rep(1, nrow(lives)) else weight)
  frame$lives <- lives
  fit <- survreg(lives ~ 1, data = frame, weights = weight, dist = "weibull", control = control)
  say(case, "shape", 1 / fit$scale)
  say(case, "scale", exp(unname(coef(fit))))
  say(case, "log_likelihood", fit$loglik[2])
  say(case, "error_log_shape", sqrt(fit$var[2, 2]))
  say(case, "error_log_scale", sqrt(fit$var[1, 1]))
  say(case, "b10", exp(unname(coef(fit)) + fit$scale * log(-log(0.9))))
}

cat("case,quantity,value\n")

ages <- c(54, 187, 216, 240, 244, 335, 361, 373, 375, 386, rep(500, 10))
weibull("handbook", Surv(ages, rep(c(1, 0), each = 10)))

controls <- data_set("locomotive_controls.csv")
weibull("locomotive_controls", Surv(controls$thousand_miles, controls$failed))

fans <- data_set("diesel_fans.csv")
weibull("diesel_fans", Surv(fans$hours, fans$status))

mounts <- data_set("turret_mount_right_censored.csv")
weibull("turret_mounts", Surv(mounts$time, mounts$failed))

cracks <- data_set("turbine_part_cracks_interval.csv")
lower <- ifelse(cracks$lower_days == 0, NA, cracks$lower_days)
weibull("turbine_parts", Surv(lower, cracks$upper_days, type = "interval2"), cracks$count)

ovarian <- data_set("ovarian_mixed_censoring.csv")
weibull("ovarian", Surv(ovarian$lower, ovarian$upper, type = "interval2"))

spells <- data_set("fleet_spells_types_3_4_5.csv")
for (group in 3:5) {
  own <- spells[spells$group == group, ]
  weibull(paste0("engines_", group), Surv(own$miles, own$replaced))
}

fluid <- data_set("insulating_fluid_four_groups.csv")
for (voltage in c(26, 30, 34, 38)) {
  own <- fluid$time[fluid$voltage == voltage]
  weibull(paste0("fluid_", voltage), Surv(own, rep(1, length(own))))
}
