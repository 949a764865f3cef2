"""Two V-folds facing each other that carry a plane, with legs parallel to the spine."""
