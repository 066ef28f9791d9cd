"""What the advice would have said at the decisions of the past, against what was done."""
