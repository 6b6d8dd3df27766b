"""Third stage. Which files make which part, in which order and at which rate: the plan for one radio."""
