"""From numbers to words: verdicts against margins, sentences that say no more."""
