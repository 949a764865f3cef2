"""Finding marks in a photo: coded tags, saddles, and what is no photo of a print."""
