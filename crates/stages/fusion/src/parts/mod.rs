//! Stems and calyx ends: which body each box belongs to, and what they say about the body in space.
