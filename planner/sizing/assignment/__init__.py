"""Classes of sites on pools: the flow model, its linking rows, and what is answered without a solver."""
