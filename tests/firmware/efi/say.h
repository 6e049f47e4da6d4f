/* Events for the host: one line of JSON behind an @, written straight to the first serial port. The console is
   no use for it: it breaks lines at its width and mixes in control sequences. */
#pragma once
#include "uefi.h"

static EFI_SYSTEM_TABLE *firmware;
static EFI_SERIAL_IO_PROTOCOL *port;

static void put(const char *text) {
    UINTN size = 0;
    while (text[size])
        size++;
    if (port)
        port->write(port, &size, text);
}

static void put_hex(UINTN value, int digits) {
    char text[17];
    for (int i = 0; i < digits; i++)
        text[i] = "0123456789abcdef"[(value >> (4 * (digits - 1 - i))) & 15];
    text[digits] = 0;
    put(text);
}

/* A JSON string of UTF-16, everything but plain letters escaped. */
static void put_string(const CHAR16 *text) {
    put("\"");
    for (; text && *text; text++) {
        char plain[2] = {(char)*text, 0};
        if (*text >= 0x20 && *text < 0x7f && *text != '"' && *text != '\\') {
            put(plain);
        } else {
            put("\\u");
            put_hex(*text, 4);
        }
    }
    put("\"");
}

static void put_bytes(const void *data, UINTN size) {
    put("\"");
    for (UINTN i = 0; i < size; i++)
        put_hex(((const UINT8 *)data)[i], 2);
    put("\"");
}

static void put_path(const void *path) {
    static EFI_DEVICE_PATH_TO_TEXT_PROTOCOL *texts;
    if (!texts && FAILED(firmware->boot->locate_protocol(&PATH_TO_TEXT, 0, (void **)&texts)))
        texts = 0;
    CHAR16 *text = texts && path ? texts->path_to_text(path, 0, 0) : 0;
    if (!text) {
        put("null");
        return;
    }
    put_string(text);
    firmware->boot->free_pool(text);
}

static void open_port(EFI_SYSTEM_TABLE *table) {
    UINTN count = 0;
    EFI_HANDLE *handles = 0;
    firmware = table;
    if (!FAILED(table->boot->locate_handle_buffer(BY_PROTOCOL, &SERIAL_IO, 0, &count, &handles)) && count > 0)
        table->boot->handle_protocol(handles[0], &SERIAL_IO, (void **)&port);
}

/* @{"event": NAME, "path": where this program was loaded from, "data": optional data in hex, "current": BootCurrent */
static void begin(EFI_HANDLE image, const char *name) {
    void *path = 0;
    EFI_LOADED_IMAGE_PROTOCOL *loaded = 0;
    UINT16 current = 0;
    UINTN size = sizeof current;
    firmware->boot->handle_protocol(image, &LOADED_IMAGE_PATH, &path);
    firmware->boot->handle_protocol(image, &LOADED_IMAGE, (void **)&loaded);
    put("\r\n@{\"event\": \"");
    put(name);
    put("\", \"path\": ");
    put_path(path);
    put(", \"data\": ");
    put_bytes(loaded ? loaded->load_options : 0, loaded ? loaded->load_options_size : 0);
    put(", \"current\": ");
    if (FAILED(firmware->runtime->get_variable(u"BootCurrent", &GLOBAL_VARIABLE, 0, &size, &current))) {
        put("null");
    } else {
        put("\"");
        put_hex(current, 4);
        put("\"");
    }
}

static void end(void) { put("}\r\n"); }
__attribute__((unused)) static void power_off(void) { firmware->runtime->reset_system(RESET_SHUTDOWN, EFI_SUCCESS, 0, 0); }
