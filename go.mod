module callout

go 1.26.8
