"""The question: factors, nesting, equivalence margins, and the file they are written in."""
