"""The handbook: questions with their answers, pages of words and the reference, as one folder."""
