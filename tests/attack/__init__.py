"""A standing attack: whatever comes in, one line comes out (the long one: bench_attack.py)."""
