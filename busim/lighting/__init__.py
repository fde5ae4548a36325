"""What is asked of the lights as a whole: many presses, in trouble of several kinds, and what becomes of each."""
