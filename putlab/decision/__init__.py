"""Parts of the decision: the round at stake, what practice narrows, the advice in words."""
