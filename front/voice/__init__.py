"""The spoken conversation: words in, words and tones out, and the rules of when to speak."""
