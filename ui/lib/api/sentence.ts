import { words } from "../../../core/words/words.ts";
import { ApiError } from "./client.ts";

/** What went wrong with a request, as one sentence that can be shown. */
export function sentenceOf(thrown: unknown): string {
  return thrown instanceof ApiError ? thrown.message : words.link.refused;
}
