# Externally studentized residuals of an unbalanced weighted two-way layout, for src/stats/outliers/deletion.rs.
# Rscript rstudent.R > rstudent.csv   (R 4; base R only)
y <- c(1.31, 2.05, 0.42, 1.77, 2.90, 0.13, 1.52, 5.81, 0.77, 2.61, 1.02)
group <- c(0, 0, 0, 1, 1, 1, 2, 2, 2, 3, 3)
factor <- c(0, 1, 2, 0, 1, 3, 0, 1, 3, 2, 0)
w <- c(1, 2, 1, 0.5, 1, 1.5, 1, 1, 2, 1, 3)
m <- lm(y ~ factor(group) + factor(factor), weights = w)
cat("y,group,factor,weight,t\n")
cat(sprintf("%s,%d,%d,%s,%.12f\n", y, group, factor, w, rstudent(m)), sep = "")
