/** Version of the tool (as in package.json; a test holds them equal) and of the files that it writes. */
export const TOOL_VERSION = '0.1.0';
export const FORMAT_VERSION = 1;
