import { eventName } from "../../../core/ptp/events.ts";
import { operationOfCode } from "../../../core/ptp/operations.ts";
import { responseName } from "../../../core/ptp/responses.ts";
import type { ProtocolEntry } from "./protocolTape.ts";

/** What an entry says in the declarations' own words: at its first packet and at its last. */
export function commentsOf(entry: ProtocolEntry): {
  readonly first: string;
  readonly last: string;
} {
  if (entry.kind === "event") {
    const line = `${eventName(entry.eventCode)}${listed(entry.parameters)}`;
    return { first: line, last: line };
  }
  const { operationCode, parameters, response, failure } = entry;
  const operation = operationOfCode(operationCode, "none");
  const named = parameters.map((value, at) => {
    const name = operation.parameters[at];
    return name === undefined ? hex(value) : `${name} ${hex(value)}`;
  });
  const first = [operation.name, ...named].join(", ");
  return {
    first: response === null ? `${first}: ${failure ?? "no answer"}` : first,
    last: response === null ? "" : `${responseName(response.code)}${listed(response.parameters)}`,
  };
}

function listed(parameters: readonly number[]): string {
  return parameters.length === 0 ? "" : ` ${parameters.map(hex).join(" ")}`;
}

function hex(value: number): string {
  return `0x${value.toString(16)}`;
}
