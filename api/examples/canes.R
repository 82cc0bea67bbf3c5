# Reads the canes of a job from nodespan and compares blocks.
#
#   Rscript canes.R http://127.0.0.1:8417 JOB
#
# needs R 4.0 and nothing else. JOB is the number in the address of the job's
# page. Against a demonstration (nodespan serve --demo) no token is needed; else
# make one on the page of your account, with the scope "record", and put it into
# the environment variable NODESPAN_TOKEN.

args <- commandArgs(trailingOnly = TRUE)
headers <- c("X-Nodespan" = "1")
token <- Sys.getenv("NODESPAN_TOKEN")
if (nzchar(token)) headers["Authorization"] <- paste("Bearer", token)

table <- function(name) {
  from <- url(sprintf("%s/api/jobs/%s/files/%s", sub("/$", "", args[1]), args[2], name), headers = headers)
  read.csv(from, stringsAsFactors = FALSE)
}

canes <- table("canes.csv")
# Where several photos show a vine, its canes are counted by one of them.
canes <- canes[canes$counted, ]
canes$block[canes$block == "" | is.na(canes$block)] <- "(no known vine)"

cat(nrow(canes), "canes on", length(unique(canes$photo)), "photos\n")
for (b in sort(unique(canes$block))) {
  d <- canes$diameter_mm[canes$block == b]
  cat(sprintf("%s: %d canes, median diameter %.1f mm, median internode %.0f mm\n",
              b, length(d), median(d, na.rm = TRUE), median(canes$internode_mm[canes$block == b], na.rm = TRUE)))
}

# What each column means, with its unit and source:
words <- table("dictionary.csv")
print(words[words$table == "canes" & words$column %in% c("diameter_mm", "internode_mm"), c("column", "unit", "meaning")], row.names = FALSE)
