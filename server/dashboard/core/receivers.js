// Of strips left out in simulated jobs, how many were told: by class and swath in metres, [told, tried].
// Written by tests/benchmarks/receivers.py from the runs behind the help page; not by hand.

export const TOLD = {
  poor: [[0.5, 0, 75], [0.75, 0, 75], [1, 0, 299], [1.5, 5, 75], [2, 27, 75], [3, 55, 75]],
  ordinary: [[0.5, 6, 75], [0.75, 43, 75], [1, 225, 299], [1.5, 68, 75], [2, 74, 75], [3, 75, 75]],
  clean: [[0.5, 69, 75], [0.75, 74, 75], [1, 299, 299], [1.5, 75, 75], [2, 75, 75], [3, 75, 75]],
  differential: [[0.5, 65, 75], [0.75, 75, 75], [1, 299, 299], [1.5, 75, 75], [2, 75, 75], [3, 75, 75]],
  float: [[0.5, 72, 75], [0.75, 75, 75], [1, 299, 299], [1.5, 75, 75], [2, 75, 75], [3, 75, 75]],
  fixed: [[0.5, 75, 75], [0.75, 75, 75], [1, 299, 299], [1.5, 75, 75], [2, 75, 75], [3, 75, 75]],
};
