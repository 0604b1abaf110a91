"""Control methods on trial: bays, climates, faults and parameters crossed, each season judged."""
