"""A dummy judged by the rules of the craft alone: what must equal what, and how to make it so."""
