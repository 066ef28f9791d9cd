"""When to pull which die in the weeks ahead, over all open jobs and the hours of the bench. Reads only."""
