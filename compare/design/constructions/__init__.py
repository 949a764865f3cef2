"""The constructions of the trade, each in a folder of its own; `registry` lists them."""
