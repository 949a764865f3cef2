"""Everything round the dummy: sheet, table, light, camera, and where it all stands."""
