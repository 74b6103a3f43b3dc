/** Texts as they may stand in XML 1.0: characters that it cannot hold at all become the replacement character. */

// biome-ignore lint/suspicious/noControlCharactersInRegex: these are the ones that XML 1.0 (2.2) leaves out.
const unspeakable = /[\u0000-\u0008\u000b\u000c\u000e-\u001f\ufffe\uffff]|\p{Cs}/gu;

/** For an element or a quoted attribute. */
export function xmlText(text: string): string {
  return text
    .replace(unspeakable, '\ufffd')
    .replaceAll('&', '&amp;')
    .replaceAll('<', '&lt;')
    .replaceAll('>', '&gt;')
    .replaceAll('"', '&quot;');
}
