"""The desk: a page in the browser over the same jobs as the command line, and a phone beside it."""
