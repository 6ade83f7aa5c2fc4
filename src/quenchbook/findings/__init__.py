"""From numbers to words: verdicts against margins fixed beforehand, sentences that say no more."""
