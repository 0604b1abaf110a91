/*
 * Try the receiving rules by hand or from a test: one command a line, one answer a line.
 *
 *   start BOOT DOOR_MOST FAN_LEAST TTL_MOST BEAT_TIMEOUT ACCEPT_EVERY
 *   remote 0|1 MS        interlock 0|1 MS        reading SEQ MS
 *   beat RETAINED MS PAYLOAD                     advice RETAINED MS PAYLOAD
 *   confirm MS           standing MS             tick MS
 *
 * PAYLOAD is the rest of the line as it is, or hex:... for bytes that a line cannot hold. Limits
 * are thousandths and seconds, MS is the clock of the controller. This file is not firmware.
 */
#include "receiver.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct receiver rules;

static int digit_of(char letter)
{
    const char *const digits = "0123456789abcdef";
    const char *const found = letter == '\0' ? NULL : strchr(digits, letter);

    return found == NULL ? -1 : (int)(found - digits);
}

/* A copy of exactly its own length, so that a reader of memory beyond it is caught. */
static char *payload_of(const char *text, size_t *length)
{
    const bool hex = strncmp(text, "hex:", 4) == 0;
    const char *const from = hex ? text + 4 : text;
    const size_t count = hex ? strlen(from) / 2u : strlen(from);
    char *const made = malloc(count > 0u ? count : 1u);
    size_t n;

    if (made == NULL) {
        return NULL;
    }
    for (n = 0; n < count; n++) {
        made[n] = from[n];
        if (hex) {
            const int high = digit_of(from[2u * n]), low = digit_of(from[2u * n + 1u]);
            if (high < 0 || low < 0) {
                free(made);
                return NULL;
            }
            made[n] = (char)(unsigned char)(16 * high + low);
        }
    }
    *length = count;
    return made;
}

static bool take(const char *what, uint32_t retained, uint32_t now, const char *text)
{
    size_t length = 0;
    char *const payload = payload_of(text, &length);
    char ack[WIRE_ACK_ROOM];

    if (payload == NULL) {
        return false;
    }
    if (strcmp(what, "beat") == 0) {
        const bool taken = receiver_take_beat(&rules, payload, length, retained != 0u, now);
        puts(!taken ? "passed over" : rules.asked_birth ? "taken, asks for the birth" : "taken");
        rules.asked_birth = false;
    } else {
        const struct receiver_answer answer =
            receiver_take(&rules, payload, length, retained != 0u, now);
        puts(receiver_write_ack(&rules, &answer, ack, sizeof ack) > 0u ? ack : "no room");
    }
    free(payload);
    return true;
}

static void stand(uint32_t now)
{
    int16_t position[WIRE_TARGETS];

    if (receiver_standing(&rules, now, position)) {
        printf("follow %d %d %d %d %d\n", position[WIRE_FAN], position[WIRE_DOOR],
               position[WIRE_WATER], position[WIRE_COOL], position[WIRE_HEAT]);
    } else {
        puts("own program");
    }
}

static void confirm(uint32_t now)
{
    char ack[WIRE_ACK_ROOM];
    struct receiver_answer answer;

    if (!receiver_confirm(&rules, now, &answer)) {
        puts("ended");
    } else {
        puts(receiver_write_ack(&rules, &answer, ack, sizeof ack) > 0u ? ack : "no room");
    }
}

static bool start(const unsigned long *word, int count)
{
    struct receiver_limits limits;

    if (count != 6) {
        return false;
    }
    limits.door_most = (int16_t)word[1];
    limits.fan_least = (int16_t)word[2];
    limits.ttl_most = (uint16_t)word[3];
    limits.beat_timeout = (uint16_t)word[4];
    limits.accept_every = (uint16_t)word[5];
    printf("%d\n", receiver_start(&rules, (uint32_t)word[0], &limits));
    return true;
}

/* Commands of numbers only. */
static bool obey(const char *what, const unsigned long *word, int count)
{
    const uint32_t first = (uint32_t)word[0], second = (uint32_t)word[1];

    if (strcmp(what, "start") == 0) {
        return start(word, count);
    }
    if (count == 1 && strcmp(what, "standing") == 0) {
        stand(first);
        return true;
    }
    if (count == 1 && strcmp(what, "confirm") == 0) {
        confirm(first);
        return true;
    }
    if (count == 1 && strcmp(what, "tick") == 0) {
        receiver_tick(&rules, first);
    } else if (count == 2 && strcmp(what, "reading") == 0) {
        receiver_note_reading(&rules, first, second);
    } else if (count == 2 && strcmp(what, "remote") == 0) {
        receiver_set_remote(&rules, first != 0u, second);
    } else if (count == 2 && strcmp(what, "interlock") == 0) {
        receiver_set_interlock(&rules, first != 0u, second);
    } else {
        return false;
    }
    puts("ok");
    return true;
}

static bool understand(const char *line)
{
    char what[16];
    unsigned long word[6] = {0};
    int used = 0;
    int count;

    if (sscanf(line, "%15s%n", what, &used) != 1) {
        return false;
    }
    line += used;
    if (strcmp(what, "beat") == 0 || strcmp(what, "advice") == 0) {
        if (sscanf(line, "%lu %lu%n", &word[0], &word[1], &used) != 2) {
            return false;
        }
        line += used;
        return take(what, (uint32_t)word[0], (uint32_t)word[1], *line == ' ' ? line + 1 : line);
    }
    count = sscanf(line, "%lu %lu %lu %lu %lu %lu", &word[0], &word[1], &word[2], &word[3],
                   &word[4], &word[5]);
    return obey(what, word, count);
}

int main(void)
{
    static char line[16384];

    while (fgets(line, (int)sizeof line, stdin) != NULL) {
        line[strcspn(line, "\n")] = '\0';
        if (!understand(line)) {
            puts("not understood; the commands stand at the top of console.c");
        }
        fflush(stdout);
    }
    return 0;
}
