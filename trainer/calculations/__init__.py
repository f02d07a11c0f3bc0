"""The arithmetic and the rules of the trade: plain values in stated units in, a plain value out.

Uses the published tables of `trainer.reference` and the standard library, nothing else.
"""
