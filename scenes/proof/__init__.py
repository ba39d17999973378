"""Proofs of clear frames: how they are handed over, and a verifier that shares no code with what made them."""
