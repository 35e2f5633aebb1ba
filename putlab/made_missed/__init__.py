"""Parts of the made-and-missed model: outcomes, chances, the joint model, its sampling."""
