"""The commands, one module each: parsing and printing only. Heavy modules are imported inside them."""
