import { NightError } from "../../core/errors.ts";
import {
  int16,
  int32,
  int8,
  uint16,
  uint32,
  uint8,
  type DataType,
} from "../../core/ptp/dataTypes.ts";
import { encodePropertyValue } from "../../core/ptp/datasets/devicePropDesc.ts";
import { operationOfCode, OPERATIONS, type Operation } from "../../core/ptp/operations.ts";
import { propertyLine } from "../../core/ptp/properties.ts";
import { createWriter } from "../../core/ptp/writer.ts";
import { isHarmless } from "../../core/profiles/harmlessOperations.ts";
import type { ControlStep, SetThrough, WireType } from "../../core/profiles/cameraControls.ts";
import type { OperationOptions, PtpSession } from "../cameras/ptpSession.ts";
import type { OperationAnswer } from "../cameras/transport.ts";
import { pauseFor } from "../timing/clock.ts";

const WIRE_TYPES: Readonly<Record<WireType, DataType<number>>> = {
  ...{ uint8, uint16, uint32 },
  ...{ int8, int16, int32 },
};

export function dataTypeOfWire(type: WireType): DataType<number> {
  return WIRE_TYPES[type];
}

/** Says the steps to the camera one after the other. @returns the last one's answer. */
export async function runSteps(
  session: PtpSession,
  steps: readonly ControlStep[],
  options: OperationOptions & { readonly openingId?: number } = {},
): Promise<OperationAnswer> {
  let answer: OperationAnswer | null = null;
  for (const step of steps) {
    if (step.kind === "pause") await pauseFor(session.time, step.pauseMs);
    else answer = await runStep(session, step, options);
  }
  if (answer !== null) return answer;
  throw new NightError("profile.invalid", "A profile's steps never speak to the camera.");
}

async function runStep(
  session: PtpSession,
  step: Exclude<ControlStep, { kind: "pause" }>,
  { openingId = 0, ...options }: OperationOptions & { readonly openingId?: number },
): Promise<OperationAnswer> {
  if (step.kind === "operation") {
    const parameters = step.parameters.map((one) =>
      one === "openingTransaction" ? openingId : one,
    );
    const operation = harmless(step.operation, "none");
    return (await session.run(operation, parameters, options)).answer;
  }
  const dataType = dataTypeOfWire(step.dataType);
  return await setRaw(session, { ...step, dataType, raw: step.value }, options);
}

/** Sets a property by the standard's operation or by a maker's own; nothing is read back. */
export async function setRaw(
  session: PtpSession,
  wish: {
    readonly propertyCode: number;
    readonly dataType: DataType;
    readonly raw: number;
    readonly setThrough?: SetThrough;
  },
  options: OperationOptions = {},
): Promise<OperationAnswer> {
  const { propertyCode, dataType, raw, setThrough } = wish;
  const operation = harmless(
    setThrough?.operation ?? OPERATIONS.SetDevicePropValue.code,
    "toResponder",
  );
  const isRecord = setThrough?.layout === "record";
  const data = isRecord ? record(propertyCode, raw) : encodePropertyValue(dataType, raw);
  const parameters = isRecord ? [] : [propertyCode];
  const about = propertyLine(propertyCode, raw);
  return (await session.run(operation, parameters, { ...options, about }, data)).answer;
}

/** Length of the whole, code, value. */
function record(propertyCode: number, raw: number): Uint8Array {
  const writer = createWriter();
  writer.u32(12);
  writer.u32(propertyCode);
  writer.u32(raw >>> 0);
  return writer.toBytes();
}

/** @throws NightError `profile.invalid` for what no profile may have a camera do. */
function harmless(code: number, dataPhase: Parameters<typeof operationOfCode>[1]): Operation {
  const operation = operationOfCode(code, dataPhase);
  if (isHarmless(code)) return operation;
  throw new NightError("profile.invalid", `A profile may not have a camera do ${operation.name}.`);
}
