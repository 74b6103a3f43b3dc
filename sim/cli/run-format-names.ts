/** The formats of `jackstand run`, apart from their writers so that `--help` need not load those. */
export const RUN_FORMATS: readonly string[] = ['text', 'json', 'junit', 'tap', 'github'];
