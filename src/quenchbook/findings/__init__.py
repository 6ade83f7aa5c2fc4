"""From numbers to words: verdicts against margins fixed beforehand, and sentences that say no more."""
