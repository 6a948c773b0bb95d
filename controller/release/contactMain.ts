// The contact's own process: it outlives the process that asked for a press by as long as opening takes.
import { openContact } from "./openContact.ts";
import { ownContact } from "./ownContact.ts";

ownContact(openContact);
