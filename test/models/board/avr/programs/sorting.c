/* Sorting through function pointers, recursion, strings and the heap. */
#include "print.h"
static int less(const void *a, const void *b) { int16_t x = *(const int16_t *)a, y = *(const int16_t *)b; return x < y ? -1 : x > y; }
struct node { struct node *left, *right; uint16_t key; };
static struct node *insert(struct node *n, uint16_t key) {
  if (!n) { n = malloc(sizeof *n); n->left = n->right = 0; n->key = key; }
  else if (key < n->key) n->left = insert(n->left, key);
  else if (key > n->key) n->right = insert(n->right, key);
  return n;
}
static void walk(struct node *n) { if (n) { walk(n->left); emit16(n->key); walk(n->right); free(n); } }
static uint16_t ack(uint16_t m, uint16_t n) { return m == 0 ? n + 1 : n == 0 ? ack(m - 1, 1) : ack(m - 1, ack(m, n - 1)); }
int main(void) {
  int16_t v[40];
  for (uint8_t i = 0; i < 40; i++) v[i] = (int16_t)draw();
  qsort(v, 40, sizeof v[0], less);
  for (uint8_t i = 0; i < 40; i++) emit16((uint16_t)v[i]);
  struct node *root = 0;
  for (uint8_t i = 0; i < 30; i++) root = insert(root, (uint16_t)(draw() & 511));
  walk(root);
  emit16(ack(2, 4));
  char text[24];
  strcpy(text, "orchard"); strcat(text, " cart"); emit16((uint16_t)strlen(text));
  for (char *p = text; *p; p++) EMIT(*p);
  EMIT(memcmp(text, "orchid", 6) < 0); EMIT(strchr(text, 'c') - text);
  memmove(text + 3, text, 9); for (uint8_t i = 0; i < 12; i++) EMIT(text[i]);
  END();
}
