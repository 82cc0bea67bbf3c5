module nodespan

go 1.26
