module fallwright/api/mapclient/bundle

go 1.26.0

require github.com/evanw/esbuild v0.28.2

require golang.org/x/sys v0.49.0 // indirect
