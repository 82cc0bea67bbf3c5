// Package agreement holds the statistics by which measurements are held
// against other measurements of the same things: how far two methods agree,
// how far one repeats itself, how often an interval held the truth, how far
// raters agree beyond chance, and how many things must be looked at to know an
// error rate well enough.
//
// All functions take plain numbers in any one unit and give results in the
// same unit; none changes what it is given. Intervals are two-sided with a
// level of 0.95. What can't be computed (too few values) is an error that
// says how many are needed, never a zero that looks like a result.
//
// Sources, by the names that the functions' comments use:
//
//   - Bland & Altman 1986: J. M. Bland, D. G. Altman, Statistical methods for
//     assessing agreement between two methods of clinical measurement, Lancet
//     1986; i: 307-310.
//   - Bland & Altman 1996: the same, Measurement error, BMJ 1996; 313: 744.
//   - Wilson 1927: E. B. Wilson, Probable inference, the law of succession, and
//     statistical inference, JASA 22, 209-212.
//   - Clopper & Pearson 1934: The use of confidence or fiducial limits
//     illustrated in the case of the binomial, Biometrika 26, 404-413.
//   - Newcombe 1998: R. G. Newcombe, Two-sided confidence intervals for the
//     single proportion: comparison of seven methods, Statistics in Medicine
//     17, 857-872.
//   - Cochran 1977: W. G. Cochran, Sampling Techniques, 3rd ed., chapter 4.
//   - Cohen 1960, Cohen 1968: J. Cohen, A coefficient of agreement for nominal
//     scales, Educational and Psychological Measurement 20, 37-46; Weighted
//     kappa, Psychological Bulletin 70, 213-220.
//   - Fleiss, Cohen & Everitt 1969: Large sample standard errors of kappa and
//     weighted kappa, Psychological Bulletin 72, 323-327.
//   - Fleiss 1971: J. L. Fleiss, Measuring nominal scale agreement among many
//     raters, Psychological Bulletin 76, 378-382.
//   - Cicchetti & Allison 1971: A new procedure for assessing reliability of
//     scoring EEG sleep recordings, American Journal of EEG Technology 11,
//     101-109.
//   - Fleiss & Cohen 1973: The equivalence of weighted kappa and the intraclass
//     correlation coefficient, Educational and Psychological Measurement 33,
//     613-619.
//   - Paule & Mandel 1982: R. C. Paule, J. Mandel, Consensus values and
//     weighting factors, J. Res. NBS 87, 377-385.
package agreement
