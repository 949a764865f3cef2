"""The leg and the floating plane, which several constructions have alike."""
