"""All text of the screens, one file a language."""
