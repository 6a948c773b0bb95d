/**
 * Moments of the past, in lifetimes of a state that decays exponentially, each of which stands for
 * an eighth of what is still alight: the middles of eight equal shares.
 */
export const AFTERGLOW_LAGS = [0.06, 0.21, 0.38, 0.58, 0.82, 1.14, 1.61, 2.77] as const;
