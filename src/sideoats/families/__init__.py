"""Engines for kinds of question: a question brings its case, an engine makes a problem of it for the ruling."""
